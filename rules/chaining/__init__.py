"""Chains the book's trade rules forward over the facts of a case and keeps the record of what fired on which facts."""

from rules.chaining.engine import Chainer
from rules.chaining.nearly import NearMiss, near_misses
from rules.chaining.record import ChainRecord, DerivedFact, Firing, KnownFact

__all__ = ["ChainRecord", "Chainer", "DerivedFact", "Firing", "KnownFact", "NearMiss", "near_misses"]
