"""The book to browse: faults, tests and rules as pages, from the same data as the answers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from flask import Blueprint, abort, render_template

from rules.bookkeeping.types import Book, Rule, TestCard
from rules.bookkeeping.yamlsource import nearest
from rules.checking import Sight, portrait, rule_sentence
from rules.terms import split_key
from rules.wording import ask_words, place_words
from service.desk.gate import route
from service.desk.showing import WHO, part_title, percent
from service.http.context import house

AREAS = {
    "supply": "Supply, cord and outlet",
    "surface": "Surface units",
    "oven": "Oven",
    "control": "Control",
    "lock": "Door lock",
    "settings": "Settings and use",
}
LIMITS = {
    "range_off": "the range stays off until it is mended",
    "oven_off": "the oven stays off until it is mended",
    "unit_off": "that unit stays off until it is mended",
    "none": "nothing need stay off",
}


def routes(blueprint: Blueprint) -> None:
    """Put the pages on the desk."""

    @route(blueprint, "/desk/faults")
    def faults() -> str:
        book = house().expert.book
        groups = _grouped(book.faults.values(), lambda fault: fault.fault)
        return render_template("desk/faults.html", groups=groups, who=WHO)

    @route(blueprint, "/desk/faults/<string:name>")
    def fault(name: str) -> str:
        expert = house().expert
        _known(name, expert.book.faults, "fault")
        drawn = portrait(expert, name)
        return render_template(
            "desk/fault.html",
            drawn=drawn,
            fault=drawn.fault,
            place=place_words(drawn.where),
            sights=(
                ("To a caller", _sights(drawn.caller, drawn.appliance.positions)),
                ("On a meter, power off", _sights(drawn.meter_dead, drawn.appliance.positions)),
                ("On a meter, power on", _sights(drawn.meter_live, drawn.appliance.positions)),
            ),
            parts=[part_title(part, expert.book) for part in drawn.parts],
            limit=LIMITS[drawn.fault.limit],
            who=WHO,
        )

    @route(blueprint, "/desk/tests")
    def tests() -> str:
        book = house().expert.book
        groups: dict[str, list[dict[str, Any]]] = defaultdict(list)
        for card in book.tests.values():
            groups["Questions to the caller" if card.who != "technician" else "Tests on site"].append(_test(card, book))
        return render_template("desk/tests.html", groups=groups.items())

    @route(blueprint, "/desk/rules")
    def rules() -> str:
        book = house().expert.book
        entries = [(rule, _does(rule)) for rule in book.rules.values()]
        groups: dict[str, list[Any]] = defaultdict(list)
        for rule, does in entries:
            groups[rule.file.rpartition("/")[2].removesuffix(".yaml").replace("_", " ")].append((rule, does))
        return render_template("desk/rules.html", groups=groups.items())

    @route(blueprint, "/desk/rules/<string:name>")
    def rule(name: str) -> str:
        book = house().expert.book
        _known(name, book.rules, "rule")
        shown = book.rules[name]
        return render_template(
            "desk/rule.html",
            rule=shown,
            sentence=rule_sentence(shown, book),
            does=_does(shown),
            faults=book.faults,
            who=WHO,
            shifts=[
                (shift.factor, [f for f in shift.faults if f in book.faults] or list(shift.faults))
                for shift in shown.shift
            ],
        )


def _known(name: str, known: Mapping[str, Any], kind: str) -> None:
    if name not in known:
        abort(404, f"The book has no {kind} of this name{nearest(name[:60], known)}.")


def _grouped(entries: Iterable[Any], name: Any) -> list[tuple[str, list[Any]]]:
    groups: dict[str, list[Any]] = defaultdict(list)
    for entry in entries:
        area = name(entry).partition(".")[0]
        groups[AREAS.get(area, area.capitalize())].append(entry)
    return list(groups.items())


def _test(card: TestCard, book: Book) -> dict[str, Any]:
    term = book.facts[card.reads]
    setup = book.setups[card.setup] if card.setup else None
    return {
        "card": card,
        "ask": ask_words(card.ask, "unnamed" if term.place == "surface" else None, card.between, card.during),
        "answers": term.values,
        "title": term.title,
        "setup": setup,
        "cautions": [book.cautions[name] for name in card.cautions],
    }


def _does(rule: Rule) -> tuple[str, ...]:
    """What a rule does, in a word each."""
    acts = {
        "stop": rule.stop,
        "points to faults": rule.points_to,
        "establishes": rule.establishes,
        "rules out": rule.rules_out,
        "shifts odds": rule.shift,
        "derives": rule.derive,
        "allows tests": rule.allow,
        "forbids tests": rule.forbid,
        "asks next": rule.ask,
        "sets the visit": rule.visit,
    }
    return tuple(name for name, there in acts.items() if there)


def _sights(sights: Iterable[Sight], units: tuple[str, ...]) -> list[tuple[str, str, str]]:
    """What differs: thing and place, what it shows, what is usual; units that look alike share a line."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    for sight in sights:
        _, place, during = split_key(sight.key)
        shown = " or ".join(
            word.replace("_", " ") + (f" ({percent(share)})" if share < 0.995 else "")
            for word, share in sight.words.items()
        )
        title = sight.title + (f", {during}" if during else "")
        alike.setdefault((title, shown, sight.usual.replace("_", " ")), []).append(place or "")
    lines = []
    for (title, shown, usual), places in alike.items():
        every = len(units) > 1 and set(places) == set(units)
        where = "every unit" if every else ", ".join(place_words(place) for place in places if place)
        lines.append((f"{title}{f' ({where})' if where else ''}", shown, usual))
    return lines
