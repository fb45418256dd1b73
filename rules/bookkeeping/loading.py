"""Reads the book from its folder: YAML, form, cross-references, then frozen objects.

Every error of every file is collected before anything is raised, each as ``file:line: field: what to write instead``,
so that one run shows all there is to mend.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from marshmallow import ValidationError

from rules.bookkeeping import building, codes, schemas
from rules.bookkeeping.checking import check
from rules.bookkeeping.types import Appliance, Book
from rules.bookkeeping.yamlsource import YamlSource, nearest, parse
from rules.terms import BookError

T = TypeVar("T")

BOOK_FOLDER = Path(__file__).resolve().parent.parent / "book"

#: Where each kind of record stands, and its form.
_PLACES: dict[str, tuple[str, type[schemas.Record]]] = {
    "facts": ("facts/*.yaml", schemas.FactSchema),
    "appliances": ("appliances.yaml", schemas.ApplianceSchema),
    "parts": ("parts.yaml", schemas.PartSchema),
    "cautions": ("cautions.yaml", schemas.CautionSchema),
    "setups": ("setups.yaml", schemas.SetupSchema),
    "vans": ("vans.yaml", schemas.VanSchema),
    "pairs": ("pairs.yaml", schemas.PairSchema),
    "codes": ("codes.yaml", schemas.CodeSchema),
    "faults": ("faults/*.yaml", schemas.FaultSchema),
    "tests": ("tests/*.yaml", schemas.TestSchema),
    "rules": ("trade/*.yaml", schemas.RuleSchema),
}
_WORDS = "words/*.yaml"


def load_book(folder: Path | None = None) -> Book:
    """Load, validate and freeze the book.

    Raises BookError with one line for each problem: file, line, field, what to write instead.
    """
    folder = folder or BOOK_FOLDER
    if not folder.is_dir():
        raise BookError([f"{folder}: no such folder; give the folder that holds facts/, faults/ and trade/"])
    problems: list[str] = []
    digest = hashlib.sha256()
    records: dict[str, dict[str, Any]] = {}
    origin: dict[str, dict[str, tuple[YamlSource, int]]] = {}
    for kind, (pattern, schema) in _PLACES.items():
        sources = _read(folder, pattern, digest, problems)
        records[kind], origin[kind] = _records(sources, schema, problems)
    words = _read(folder, _WORDS, digest, problems)
    if problems:
        raise BookError(problems)
    problems = check(records, origin)
    if problems:
        raise BookError(problems)
    return _book(records, origin, words, digest.hexdigest())


def _read(folder: Path, pattern: str, digest: Any, problems: list[str]) -> list[YamlSource]:
    paths = sorted(folder.glob(pattern))
    if not paths:
        problems.append(f"{pattern}:1: (file): missing; the book needs it in {folder}")
    sources = []
    for path in paths:
        name = path.relative_to(folder).as_posix()
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            problems.append(f"{name}:1: (file): cannot be read as UTF-8 text: {error}")
            continue
        digest.update(f"{name}\0{text}\0".encode())
        try:
            sources.append(parse(name, text))
        except BookError as error:
            problems.extend(error.problems)
    return sources


def _records(
    sources: Iterable[YamlSource], schema_class: type[schemas.Record], problems: list[str]
) -> tuple[dict[str, Any], dict[str, tuple[YamlSource, int]]]:
    """Validated records by their name, and where each was written."""
    found: dict[str, Any] = {}
    origin: dict[str, tuple[YamlSource, int]] = {}
    schema = schema_class()
    for source in sources:
        if not isinstance(source.data, list):
            problems.append(
                source.problem((), f"write a list of records, each starting with '- {schema_class.key}: name'")
            )
            continue
        for number, raw in enumerate(source.data):
            try:
                record = schema.load(raw)
            except ValidationError as error:
                problems.extend(_described(source, (number,), error.messages, schema))
                continue
            name = record[schema_class.key]
            if name in found:
                first, at = origin[name]
                here = source.problem(
                    (number, schema_class.key), f"{name} is already in {first.file}:{first.line_of((at,))}"
                )
                problems.append(f"{here}; give it another name")
                continue
            found[name] = record
            origin[name] = (source, number)
    return found, origin


def _described(source: YamlSource, path: tuple[str | int, ...], messages: Any, schema: schemas.Record) -> list[str]:
    """Turn marshmallow's nested messages into lines."""
    if isinstance(messages, dict):
        lines = []
        for step, inner in messages.items():
            # below a record's own fields these are a mapping's, unless a field is called so
            of_a_dict = step in ("value", "key") and len(path) > 1 and inner != ["Unknown field."]
            deeper = path if step == "_schema" or of_a_dict else (*path, step)
            lines.extend(_described(source, deeper, inner, schema))
        return lines
    lines = []
    for message in messages if isinstance(messages, list) else [messages]:
        text = schemas.PLAIN_WORDS.get(str(message), str(message))
        if str(message) == "Unknown field.":
            text += nearest(str(path[-1]), _field_names(schema))
        lines.append(source.problem(path, text))
    return lines


def _field_names(schema: schemas.Record) -> list[str]:
    names = [field.data_key or name for name, field in schema.fields.items()]
    for inner in (
        schemas.StopSchema,
        schemas.EffectSchema,
        schemas.ShiftSchema,
        schemas.UnitSchema,
        schemas.WhenSchema,
    ):
        names.extend(field.data_key or name for name, field in inner().fields.items())
    return names


def _book(
    records: dict[str, dict[str, Any]],
    origin: dict[str, dict[str, tuple[YamlSource, int]]],
    words: list[YamlSource],
    digest: str,
) -> Book:
    def frozen(kind: str, make: Callable[[dict[str, Any]], T]) -> Mapping[str, T]:
        return MappingProxyType({name: make(record) for name, record in records[kind].items()})

    def placed(kind: str, make: Callable[[dict[str, Any], str, int], T]) -> Mapping[str, T]:
        made = {}
        for name, record in records[kind].items():
            source, number = origin[kind][name]
            made[name] = make(record, source.file, source.line_of((number,)))
        return MappingProxyType(made)

    facts = dict(placed("facts", building.fact_term))
    table = frozen("codes", building.error_code)
    if codes.FACT in facts:
        facts[codes.FACT] = replace(facts[codes.FACT], codes={code.code: code.group for code in table.values()})
    return Book(
        version=f"sha256:{digest}",
        facts=MappingProxyType(facts),
        appliances=frozen("appliances", building.appliance),
        faults=placed("faults", building.fault),
        tests=frozen("tests", lambda record: building.test_card(record, facts)),
        rules=placed("rules", building.rule),
        parts=frozen("parts", building.part),
        cautions=frozen("cautions", building.caution),
        setups=frozen("setups", building.setup),
        vans=frozen("vans", building.van),
        pairs=frozen("pairs", building.pair),
        codes=table,
        words=tuple(words),
    )


def load_appliance(source: YamlSource, book: Book) -> Appliance:
    """A caller's own appliance from a parsed mapping; ``based_on`` names the book's one it starts from.

    Raises BookError as for the book itself.
    """
    if not isinstance(source.data, dict):
        raise BookError([source.problem((), "write a mapping of fields, for example cooktop: coil")])
    data = dict(source.data)
    start = data.pop("based_on", "radiant_range")
    if not isinstance(start, str) or start not in book.appliances:
        known = ", ".join(book.appliances)
        raise BookError([source.problem(("based_on",), f"no appliance {start!r}; write one of {known}")])
    whole = {**building.appliance_record(book.appliances[start]), **data}
    whole.setdefault("appliance", "own")
    schema = schemas.ApplianceSchema()
    try:
        return building.appliance(schema.load(whole))
    except ValidationError as error:
        raise BookError(_described(source, (), error.messages, schema)) from error
