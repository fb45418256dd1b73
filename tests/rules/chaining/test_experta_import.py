"""The door to experta: what importing it leaves behind, and what it says when it cannot be opened."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]


def run_fresh(code: str) -> str:
    """Run code in a new interpreter with every warning an error; return what it prints."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout


def test_nothing_is_left_in_collections_or_on_the_root_logger() -> None:
    code = """
import collections, logging
before = dict(vars(collections))
import rules.chaining.experta_import as door
assert vars(collections) == before, set(vars(collections)) ^ set(before)
assert "Mapping" not in vars(collections)
assert logging.getLogger().handlers == []
assert logging.getLogger().level == logging.WARNING
door.load_experta()
assert vars(collections) == before and logging.getLogger().handlers == []
print(door.KnowledgeEngine.__module__)
"""
    assert run_fresh(code) == "experta.engine\n"


def test_a_bare_import_does_configure_the_root_logger() -> None:
    """Without the door the program would find its root logger configured: the reason for the stand-in handler."""
    code = """
import collections, collections.abc, logging
collections.Mapping = collections.abc.Mapping
import experta
print(len(logging.getLogger().handlers))
"""
    assert run_fresh(code) == "1\n"


def test_what_others_put_there_stays() -> None:
    code = """
import collections, logging
collections.Mapping = mine = object()
logging.getLogger().addHandler(handler := logging.StreamHandler())
try:
    import rules.chaining.experta_import
except TypeError:
    pass  # frozendict cannot subclass a plain object; what matters is what is left
assert collections.Mapping is mine
assert logging.getLogger().handlers == [handler]
print("kept")
"""
    assert run_fresh(code) == "kept\n"


def test_it_opens_after_a_failed_bare_import() -> None:
    code = """
try:
    import experta
except AttributeError as error:
    print("Mapping" in str(error))
import rules.chaining.experta_import as door
print(door.KnowledgeEngine.__name__)
"""
    assert run_fresh(code) == "True\nKnowledgeEngine\n"


def test_the_cause_that_experta_swallows_is_named() -> None:
    code = """
import sys
sys.modules["schema"] = None  # as if it were not installed
try:
    import rules.chaining.experta_import
except ImportError as error:
    print(error)
import collections, logging
assert "Mapping" not in vars(collections) and logging.getLogger().handlers == []
"""
    told = run_fresh(code)
    assert "schema" in told
    assert "pip install experta==1.9.4" in told


def test_many_threads_may_open_it_at_once() -> None:
    code = """
import sys, threading
sys.setswitchinterval(1e-6)
opened, start = [], threading.Barrier(8)
def open_it():
    start.wait()
    from rules.chaining.experta_import import KnowledgeEngine, load_experta
    opened.append((KnowledgeEngine, load_experta()))
threads = [threading.Thread(target=open_it) for _ in range(8)]
[thread.start() for thread in threads]
[thread.join() for thread in threads]
import collections, logging
assert "Mapping" not in vars(collections) and logging.getLogger().handlers == []
print(len(opened), len(set(opened)))
"""
    assert run_fresh(code) == "8 1\n"


def imported_packages(path: Path) -> set[str]:
    """The top-level names that a module imports anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name.split(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            found.add((node.module or "").split(".")[0])
    return found


@pytest.mark.parametrize("folder", ["rules", "service"])
def test_no_other_module_imports_experta(folder: str) -> None:
    door = ROOT / "rules/chaining/experta_import.py"
    assert "experta" in imported_packages(door)
    others = [path for path in (ROOT / folder).rglob("*.py") if path != door]
    assert others
    assert [path for path in others if imported_packages(path) & {"experta", "frozendict"}] == []
