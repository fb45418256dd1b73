"""Coldleg's expert on electric ranges. This package knows nothing of HTTP, storage or the command line."""
