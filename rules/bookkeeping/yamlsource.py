"""YAML with line numbers: plain Python data, and for every value the line it was written on.

PyYAML's safe loader is used for parsing; only the walk from nodes to data is ours, because the line of a wrong field
is what a lead technician needs to mend it.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import yaml

from rules.terms import BookError

Path = tuple[str | int, ...]
DEEPEST = 40
_STANDARD = tuple(
    f"tag:yaml.org,2002:{kind}" for kind in ("map", "seq", "str", "int", "float", "bool", "null", "timestamp")
)


@dataclass(frozen=True)
class YamlSource:
    """One parsed file: ``data`` as dicts, lists and scalars; ``lines`` from a path inside it to a line number."""

    file: str
    data: Any
    lines: dict[Path, int] = field(repr=False)

    def line_of(self, path: Path) -> int:
        """The line of the value at ``path``, or of the nearest enclosing value that has one."""
        for end in range(len(path), -1, -1):
            if path[:end] in self.lines:
                return self.lines[path[:end]]
        return 1

    def problem(self, path: Path, message: str) -> str:
        """``file:line: field: message``, as every error about the book is written."""
        name = ".".join(str(step) for step in path if not isinstance(step, int)) or "(file)"
        return f"{self.file}:{self.line_of(path)}: {name}: {message}"


def parse(file: str, text: str) -> YamlSource:
    """Parse one file. Raises BookError naming the line for YAML that is malformed or repeats a key."""
    loader_class = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    loader = loader_class(text)
    try:
        node = loader.get_single_node()
        lines: dict[Path, int] = {}
        data = None if node is None else _build(loader, node, (), lines, file, ())
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise BookError(
            [f"{file}:{line}: (file): not valid YAML: {error.problem}; mend the indentation or quoting"]
        ) from error
    except yaml.YAMLError as error:
        raise BookError([f"{file}:1: (file): not valid YAML: {str(error).splitlines()[0]}"]) from error
    finally:
        loader.dispose()
    return YamlSource(file, data, lines)


def _build(loader: Any, node: Any, path: Path, lines: dict[Path, int], file: str, above: tuple[int, ...]) -> Any:
    lines[path] = node.start_mark.line + 1
    if id(node) in above or len(above) > DEEPEST:
        raise BookError([f"{file}:{lines[path]}: (file): holds itself or is nested too deep; write it out flat"])
    above = (*above, id(node))
    if not node.tag.startswith(_STANDARD):
        raise BookError([f"{file}:{lines[path]}: (file): not valid YAML here: a tag {node.tag!r}; leave it out"])
    if isinstance(node, yaml.MappingNode):
        built: dict[str, Any] = {}
        for key_node, value_node in node.value:
            key = str(key_node.value)
            if key in built:
                raise BookError([f"{file}:{key_node.start_mark.line + 1}: {key}: written twice; keep one"])
            built[key] = _build(loader, value_node, (*path, key), lines, file, above)
            lines[(*path, key)] = key_node.start_mark.line + 1
        return built
    if isinstance(node, yaml.SequenceNode):
        return [_build(loader, child, (*path, index), lines, file, above) for index, child in enumerate(node.value)]
    if node.tag == "tag:yaml.org,2002:bool" and node.value.lower() not in ("true", "false"):
        return node.value  # YAML 1.1 would turn the trade's words on, off, yes and no into booleans
    try:
        return loader.construct_object(node)
    except ValueError as error:
        raise BookError([f"{file}:{lines[path]}: (file): {node.value!r} is no such value; put it in quotes"]) from error


def nearest(word: str, known: Iterable[str]) -> str:
    """``; did you mean 'x'?`` for a near miss, else an empty string."""
    match = difflib.get_close_matches(str(word), list(known), n=1, cutoff=0.6)
    return f"; did you mean {match[0]!r}?" if match else ""
