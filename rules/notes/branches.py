"""Spellings as branches of words that grow together again.

A phrase with many choices has thousands of spellings, but few places between its words. So spellings are kept as a
graph in which what may follow is shared by all beginnings it can follow: the work and the memory go with the phrases
as they are written, not with their spellings. Branches are never changed once made; joining two makes new ones where
they meet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Generic, TypeVar

T = TypeVar("T")


class ClashError(Exception):
    """Two branches end in the same words and stand for different things."""


class Branch(Generic[T]):
    """What may follow some words. ``entry``: what they stand for if nothing follows."""

    __slots__ = ("entry", "following")

    def __init__(self, entry: T | None, following: Mapping[str, Branch[T]]) -> None:
        self.entry = entry
        self.following = following

    def at(self, words: Iterable[str]) -> T | None:
        """What exactly these words stand for."""
        branch: Branch[T] | None = self
        for word in words:
            branch = branch.following.get(word) if branch is not None else None
        return branch.entry if branch is not None else None


#: Pairs joined already, by their identities. The pairs are kept beside what was made of them: an identity is taken
#: again once nobody holds its object, and would then stand for a pair that was never joined.
Memo = dict[tuple[int, int], tuple[Branch[T], Branch[T], Branch[T]]]


def grown(steps: Sequence[Sequence[tuple[str, ...]]], entry: T) -> Branch[T]:
    """The branch of a phrase. ``steps``: what may stand at each step, each a tuple of words, empty if nothing may."""
    branch = Branch(entry, {})
    for choices in reversed(steps):
        branch = _step(choices, branch)
    return branch


def _step(choices: Sequence[tuple[str, ...]], rest: Branch[T]) -> Branch[T]:
    made: Branch[T] | None = None
    memo: Memo[T] = {}
    for words in choices:
        branch = rest
        for word in reversed(words):
            branch = Branch(None, {word: branch})
        made = branch if made is None else joined(made, branch, memo)
    return made or rest


def joined(one: Branch[T], other: Branch[T], memo: Memo[T]) -> Branch[T]:
    """Both at once. ``memo``: pairs joined already. Raises ClashError."""
    if one is other:
        return one
    known = memo.get((id(one), id(other)))
    if known is None:
        if one.entry is not None and other.entry is not None and one.entry != other.entry:
            raise ClashError
        following = dict(one.following)
        for word, branch in other.following.items():
            held = following.get(word)
            following[word] = branch if held is None else joined(held, branch, memo)
        made = Branch(other.entry if one.entry is None else one.entry, following)
        known = memo[id(one), id(other)] = one, other, made
    return known[2]
