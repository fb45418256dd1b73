"""Benchmarks. Opening the service first holds linear algebra to one thread, as the service does."""

import service  # noqa: F401
