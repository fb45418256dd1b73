"""Validated records into the book's frozen objects; one small function a kind."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from rules.bookkeeping.types import (
    Appliance,
    Bands,
    Caution,
    Condition,
    Derivation,
    Effect,
    ErrorCode,
    FactTerm,
    Fault,
    Pair,
    Part,
    Rule,
    Setup,
    Shift,
    Stop,
    TestCard,
    Unit,
    Van,
    VisitNeed,
)


def fact_term(record: dict[str, Any], file: str = "", line: int = 0) -> FactTerm:
    bands = tuple(
        Bands(MappingProxyType(dict(b["ranges"])), tuple(b["between"]), b["relative"]) for b in record["bands"]
    )
    values = MappingProxyType(dict(record["values"]))
    mistaken = MappingProxyType({k: MappingProxyType(dict(v)) for k, v in record["mistaken_for"].items()})
    plain = {
        k: record[k]
        for k in ("fact", "title", "kind", "usual", "told_by", "ask", "recall", "place", "unit", "least", "most")
    }
    return FactTerm(
        **plain,
        values=values,
        between=tuple(record["between"]),
        states=tuple(record["states"]),
        bands=bands,
        mistaken_for=mistaken,
        hazard=record["hazard"],
        derived=record["derived"],
        model=record["model"],
        yes=record["yes"] or ("yes" if "yes" in values else None),
        no=record["no"] or ("no" if "no" in values else None),
        lead=record["lead"],
        answers=MappingProxyType({value: tuple(words) for value, words in record["answers"].items()}),
        file=file,
        line=line,
    )


def appliance(record: dict[str, Any]) -> Appliance:
    units = tuple(Unit(unit["where"], tuple(unit["watts"])) for unit in record["units"])
    return Appliance(**{**record, "units": units})


def appliance_record(value: Appliance) -> dict[str, Any]:
    """The record an appliance was built from, for another one to start from."""
    record = {name: getattr(value, name) for name in Appliance.__dataclass_fields__}
    record["units"] = [{"where": unit.where, "watts": list(unit.watts)} for unit in value.units]
    return record


def fault(record: dict[str, Any], file: str = "", line: int = 0) -> Fault:
    return Fault(
        **{
            k: record[k]
            for k in ("fault", "title", "place", "weight", "skill", "urgency", "limit", "tell", "because", "source")
        },
        only=MappingProxyType({name: tuple(words) for name, words in record["only_"].items()}),
        effects=tuple(Effect(e["part"], e["mode"], tuple(e["amounts"])) for e in record["effects"]),
        shows=MappingProxyType({name: MappingProxyType(dict(table)) for name, table in record["shows"].items()}),
        parts=MappingProxyType({kind: tuple(names) for kind, names in record["parts"].items()}),
        minutes=(record["minutes"][0], record["minutes"][1]),
        file=file,
        line=line,
    )


def test_card(record: dict[str, Any], facts: Mapping[str, FactTerm]) -> TestCard:
    term = facts[record["reads"]]
    values = {**record, "ask": record["ask"] or term.ask, "recall": term.recall}
    return TestCard(**{**values, "tools": tuple(record["tools"]), "cautions": tuple(record["cautions"])})


def _condition(record: dict[str, Any]) -> Condition:
    if record.get("not_") is not None:
        inner = _condition(record["not_"])
        return Condition(**{**inner.__dict__, "negated": True})
    single = (record["is_"],) if record["is_"] is not None else ()
    unlike = record["is_not"]
    not_values = () if unlike is None else tuple(map(str, unlike if isinstance(unlike, list) else [unlike]))
    return Condition(
        fact=record["fact"],
        where=record["where"],
        between=record["between"],
        during=record["during"],
        values=single or tuple(record["in_"]),
        not_values=not_values,
        at_least=record["at_least"],
        below=record["below"],
        by=record["by"],
    )


def rule(record: dict[str, Any], file: str, line: int) -> Rule:
    common = tuple(_condition(premise) for premise in record["when"]["all_"])
    either = [_condition(premise) for premise in record["when"]["any_"]]
    alternatives = tuple((*common, premise) for premise in either) if either else (common,)
    return Rule(
        rule=record["rule"],
        alternatives=alternatives,
        because=" ".join(record["because"].split()),
        source=record["source"],
        derive=tuple(Derivation(**entry) for entry in record["derive"]),
        stop=Stop(**record["stop"]) if record["stop"] else None,
        points_to=tuple(record["points_to"]),
        establishes=tuple(record["establishes"]),
        rules_out=tuple(record["rules_out"]),
        shift=tuple(Shift(tuple(entry["faults"]), entry["factor"]) for entry in record["shift"]),
        allow=tuple(record["allow"]),
        forbid=tuple(record["forbid"]),
        ask=tuple(record["ask"]),
        visit=VisitNeed(**record["visit"]) if record["visit"] else None,
        not_when=record["not_when"],
        fires_on=tuple(MappingProxyType(dict(example)) for example in record["fires_on"]),
        silent_on=tuple(MappingProxyType(dict(example)) for example in record["silent_on"]),
        file=file,
        line=line,
    )


def part(record: dict[str, Any]) -> Part:
    return Part(**record)


def van(record: dict[str, Any]) -> Van:
    return Van(**record)


def pair(record: dict[str, Any]) -> Pair:
    return Pair(**{**record, "faults": tuple(record["faults"])})


def error_code(record: dict[str, Any]) -> ErrorCode:
    return ErrorCode(**record)


def caution(record: dict[str, Any]) -> Caution:
    return Caution(**record)


def setup(record: dict[str, Any]) -> Setup:
    return Setup(**record)
