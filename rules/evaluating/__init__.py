"""How good the ranking is: simulated callers and technicians from a perturbed world, measured against the truth."""

from __future__ import annotations

from rules.evaluating.plan import DEFAULT_CASES, DEFAULT_SEED, Options
from rules.evaluating.report import ConfigurationReport, Evaluation
from rules.evaluating.study import evaluate

__all__ = ["DEFAULT_CASES", "DEFAULT_SEED", "ConfigurationReport", "Evaluation", "Options", "evaluate"]
