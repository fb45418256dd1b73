"""The visit: whether, how soon, who, how long; what the van carries, for one call or for a day's."""

from rules.visit.loading import DayLoad, Load, Needs, load, load_for_day, needs_of
from rules.visit.planning import plan

__all__ = ["DayLoad", "Load", "Needs", "load", "load_for_day", "needs_of", "plan"]
