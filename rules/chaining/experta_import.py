"""The one door to experta 1.9.4; nothing else in the project imports experta or frozendict.

Three faults of the packages are dealt with here, without changing a file of theirs:

* frozendict 1.2 reads ``collections.Mapping`` while it is imported, a name Python dropped in 3.10. It is put in place
  for the moment of the import and taken away again.
* experta calls ``logging.basicConfig()`` on import, which would configure the root logger of the whole program. A root
  logger that has a handler is left alone by that call, so a silent handler stands in for the moment of the import.
* ``import experta`` swallows every ImportError and then lacks its own names. That is noticed here and said.

The classes are given to mypy as the few methods that this package uses, because experta carries no type hints.
"""

from __future__ import annotations

import collections
import collections.abc
import importlib
import logging
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from types import ModuleType
from typing import TYPE_CHECKING, Any

__all__ = [
    "NOT",
    "Activation",
    "Agenda",
    "Fact",
    "FactList",
    "InitialFact",
    "KnowledgeEngine",
    "L",
    "Matcher",
    "P",
    "ReteMatcher",
    "Rule",
    "Strategy",
    "W",
    "load_experta",
]

_LOCK = threading.RLock()


@contextmanager
def _mapping_in_place() -> Iterator[None]:
    """``collections.Mapping`` exists inside, and is afterwards what it was before."""
    names = vars(collections)
    if "Mapping" in names:
        yield
        return
    names["Mapping"] = collections.abc.Mapping
    try:
        yield
    finally:
        del names["Mapping"]


@contextmanager
def _root_logger_kept() -> Iterator[None]:
    """``logging.basicConfig()`` does nothing inside; afterwards the root logger has the handlers it had before."""
    root, stand_in = logging.getLogger(), logging.NullHandler()
    root.addHandler(stand_in)
    try:
        yield
    finally:
        root.removeHandler(stand_in)


def load_experta() -> ModuleType:
    """Import experta and return its package; calling it again, or from several threads, changes nothing.

    Raises ImportError, with the cause that experta hides, when the package is missing or only half loaded.
    """
    with _LOCK, _mapping_in_place(), _root_logger_kept():
        try:
            importlib.import_module("frozendict")
            package = importlib.import_module("experta")
            if not hasattr(package, "KnowledgeEngine"):
                importlib.import_module("experta.engine")  # raises the error that `import experta` swallowed
        except ImportError as error:
            raise ImportError(f"experta did not load ({error}); install it with: pip install experta==1.9.4") from error
    if not hasattr(package, "KnowledgeEngine"):
        raise ImportError("experta loaded without KnowledgeEngine; install it again with: pip install experta==1.9.4")
    return package


if TYPE_CHECKING:

    class Fact(dict[Any, Any]):
        """A dict of slots; in a rule a pattern, whose slots may hold L, P or W."""

        def __init__(self, *args: Any, **slots: Any) -> None: ...
        def __rlshift__(self, name: str) -> Any: ...
        @property
        def __bind__(self) -> str | None: ...
        @staticmethod
        def is_special(key: object) -> bool: ...

    class InitialFact(Fact): ...

    class _Constraint(tuple[Any, ...]):
        __bind__: str | None

        def __rlshift__(self, name: str) -> Any: ...

    class L(_Constraint):
        """A slot equals a constant."""

        def __new__(cls, value: Any) -> L: ...
        @property
        def value(self) -> Any: ...

    class P(_Constraint):
        """A slot satisfies a one-argument function."""

        def __new__(cls, match: collections.abc.Callable[[Any], bool]) -> P: ...
        @property
        def match(self) -> collections.abc.Callable[[Any], Any]: ...

    class W(_Constraint):
        """A slot has any value; ``"x" << W()`` binds it to the variable x."""

        def __new__(cls) -> W: ...

    class NOT(tuple[Any, ...]):
        """Holds while no fact matches the one pattern inside."""

        def __new__(cls, pattern: Fact) -> NOT: ...

    class Rule(tuple[Any, ...]):
        """Patterns and salience; called with a function, it becomes the rule with that body."""

        salience: int
        __name__: str

        def __new__(cls, *patterns: Any, salience: int = 0) -> Rule: ...
        def __call__(self, *args: Any, **bound: Any) -> Any: ...
        def new_conditions(self, *patterns: Any) -> Rule: ...

    class Activation:
        rule: Rule
        facts: set[Fact]
        context: dict[str, Any]
        key: Any

    class Agenda:
        """``activations``: the last one fires next."""

        activations: list[Activation]

        def get_next(self) -> Activation | None: ...

    class FactList(dict[int, Fact]):
        """``added`` and ``removed``: what changed since the matcher last asked."""

        last_index: int
        added: list[Fact]
        removed: list[Fact]

        def declare(self, fact: Fact) -> Fact | None: ...

    class Strategy:
        def update_agenda(self, agenda: Agenda, added: list[Activation], removed: list[Activation]) -> None: ...

    class Matcher:
        engine: KnowledgeEngine

        def __init__(self, engine: KnowledgeEngine) -> None: ...
        def changes(
            self, adding: Sequence[Fact] | None = None, deleting: Sequence[Fact] | None = None
        ) -> tuple[list[Activation], list[Activation]]: ...
        def reset(self) -> None: ...

    class ReteMatcher(Matcher): ...

    class KnowledgeEngine:
        __matcher__: type[Matcher]
        __strategy__: type[Strategy]
        facts: FactList
        strategy: Strategy
        agenda: Agenda
        matcher: Matcher
        running: bool

        def __init__(self) -> None: ...
        def declare(self, *facts: Fact) -> Fact | None: ...
        def retract(self, idx_or_declared_fact: Any) -> None: ...
        def reset(self, **kwargs: Any) -> None: ...
        def run(self, steps: float = ...) -> None: ...
        def get_deffacts(self) -> list[Any]: ...
        def get_activations(self) -> tuple[list[Activation], list[Activation]]: ...
        def get_rules(self) -> list[Rule]: ...

else:
    load_experta()
    from experta.abstract import Matcher, Strategy
    from experta.activation import Activation
    from experta.agenda import Agenda
    from experta.conditionalelement import NOT
    from experta.engine import KnowledgeEngine
    from experta.fact import Fact, InitialFact
    from experta.factlist import FactList
    from experta.fieldconstraint import L, P, W
    from experta.matchers.rete import ReteMatcher
    from experta.rule import Rule
