"""An evaluation as JSON, as a screen of text, and as the README's table."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Any

from rules.evaluating.calibration import Calibration, Share
from rules.evaluating.report import CellReport, ConfigurationReport, Evaluation, Ranks, saving
from rules.evaluating.working import CHEAPEST, COLDLEG

WHAT_IT_IS = (
    "Simulated calls from a perturbed model; callers and appliances are invented. The figures compare ways of working,",
    "they do not predict the field.",
)

ALL_LISTED, WORTH_IT = "all that is listed", "while it is worth it"
TO_FIX = ("min to fix", "own repair")


# --- JSON --------------------------------------------------------------------------------------------------------
def as_json(made: Evaluation) -> dict[str, Any]:
    """Every figure. A share has its hits, its count, itself and Wilson's 95 % interval."""
    shown: dict[str, Any] = _plain(made)
    shown["configurations"] = {entry.pop("configuration"): entry for entry in shown["configurations"]}
    return shown


def _plain(value: Any) -> Any:
    if isinstance(value, Share):
        low, high = round(value.low, 4), round(value.high, 4)
        share = round(value.share, 4) if value.of else None
        return {"share": share, "hits": value.hits, "of": value.of, "low": low, "high": high}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        made = {field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
        if isinstance(value, Calibration):
            made["stated_less_observed"] = round(value.gap, 4)
        return made
    if isinstance(value, dict):
        return {str(key): _plain(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(entry) for entry in value]
    return float(f"{value:.5g}") if isinstance(value, float) else value


# --- text --------------------------------------------------------------------------------------------------------
def as_text(made: Evaluation) -> str:
    """The report for a screen."""
    lines = [f"Evaluation with seed {made.options.seed}, book {made.book[:19]}", *WHAT_IT_IS]
    for heading, rows in _sections(made):
        if rows:
            lines += ["", heading, *aligned(rows)]
    lines += ["", *_soundness(made.configurations)]
    return "\n".join(lines)


def _sections(made: Evaluation) -> Iterator[tuple[str, list[Sequence[str]]]]:
    reports = made.configurations
    yield "What must be reached", list(_targets(made))
    yield "Telephone only: true fault first / in the first three, after so many questions", list(_phone(reports))
    yield "Visits after the call", list(_visits(reports))
    yield "About the most that tests can tell: the same cases with every test of the book", list(_ceilings(reports))
    yield "By family of faults, all that is listed: end of the call; right before repair", list(_families(reports))
    yield "Ways of working on site, from the complaint alone", list(_orders(reports))
    yield "Expected minutes over the exact optimum: mean, 95th percentile, greatest", list(_ratios(reports))
    yield "Calibration of the first line", list(_calibration(reports))
    yield "Robustness, one disturbance at a time", list(_grid(made.grid))


def aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows in columns; the first column to the left, the others to the right."""
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
    return [
        "  ".join(
            cell.ljust(width) if n == 0 else cell.rjust(width)
            for n, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def percent(value: Share) -> str:
    """A share in whole percent; a dash for a share of nothing."""
    return f"{value.share:.0%}" if value.of else "-"


def with_interval(value: Share) -> str:
    """A share with its interval, percent."""
    return f"{value.share:.1%} ({value.low:.0%}-{value.high:.0%})" if value.of else "-"


def _both(ranks: Ranks) -> str:
    return f"{percent(ranks.top1)}/{percent(ranks.top3)}"


def _targets(made: Evaluation) -> Iterator[Sequence[str]]:
    yield ("", "wanted", "got", "")
    for target in made.targets:
        yield (target.name, target.wanted, f"{target.got:.3g}", "met" if target.met else "NOT MET")


def _phone(reports: Sequence[ConfigurationReport]) -> Iterator[Sequence[str]]:
    marks = [str(mark) for mark in reports[0].phone.at] if reports else []
    yield ("", "calls", *marks, "first at end", "in three at end", "by fault", "asked", "wrong answers")
    for r in reports:
        for way, phone in ((ALL_LISTED, r.phone), (WORTH_IT, r.brief)):
            error, deviation = phone.caller_error
            yield (
                f"{r.configuration}, {way}",
                str(r.count),
                *(_both(ranks) for ranks in phone.at.values()),
                with_interval(phone.end.top1),
                with_interval(phone.end.top3),
                f"{percent(phone.end.top1_fault)}/{percent(phone.end.top3_fault)}",
                f"{phone.questions:.1f}",
                f"{error:.1%} sd {deviation:.1%}",
            )


def _ceilings(reports: Sequence[ConfigurationReport]) -> Iterator[Sequence[str]]:
    yield ("", "calls", "first", "in three")
    for r in reports:
        for way, ranks in zip(("every question asked", "everything measured too"), r.ceilings, strict=True):
            yield (f"{r.configuration}, {way}", str(r.count), with_interval(ranks.top1), with_interval(ranks.top3))


def _visits(reports: Sequence[ConfigurationReport]) -> Iterator[Sequence[str]]:
    yield (
        "",
        "right before repair",
        "no danger stands",
        "isolated",
        "established",
        "first repair",
        "given up",
        "tests",
        "test min",
        *TO_FIX,
    )
    for r in reports:
        for way, v in ((ALL_LISTED, r.visit), (WORTH_IT, r.short)):
            yield (
                f"{r.configuration}, {way}",
                with_interval(v.right),
                f"{percent(v.undisturbed)} of {v.undisturbed.of}",
                percent(v.isolated),
                percent(v.established),
                percent(v.first_repair),
                percent(v.given_up),
                f"{v.tests:.1f}",
                f"{v.test_minutes:.1f}",
                f"{v.to_fix:.1f}",
                f"{v.own_repair:.1f}",
            )


def _families(reports: Sequence[ConfigurationReport]) -> Iterator[Sequence[str]]:
    yield ("", "calls", "first at end", "in three at end", "visits right")
    for r in reports:
        for family, (ranks, right) in r.families.items():
            yield _family(f"{r.configuration}, {family}", ranks, right)
        if r.pairs is not None:
            yield _family(f"{r.configuration}, two faults at once (either)", *r.pairs)
        if r.outside is not None:
            name = f"{r.configuration}, cause outside the book (known as such)"
            yield (name, str(r.outside.of), "-", "-", with_interval(r.outside))


def _family(name: str, ranks: Ranks, right: Share) -> Sequence[str]:
    return (name, str(right.of), with_interval(ranks.top1), with_interval(ranks.top3), with_interval(right))


def _orders(reports: Sequence[ConfigurationReport]) -> Iterator[Sequence[str]]:
    yield ("", "calls", "tests", "min to isolate", "isolated", "min to fix", "more than coldleg's", "end right")
    for r in reports:
        for way, v in r.from_complaint.items():
            more = v.to_fix / r.from_complaint[COLDLEG].to_fix - 1
            yield (
                f"{r.configuration}, {way}",
                str(v.right.of),
                f"{v.tests:.1f}",
                f"{v.to_isolate:.1f}",
                percent(v.isolated),
                f"{v.to_fix:.1f}",
                f"{more:+.0%}" if way != COLDLEG else "",
                percent(v.right),
            )


def _ratios(reports: Sequence[ConfigurationReport]) -> Iterator[Sequence[str]]:
    yield ("", "sub-models", "to isolate", "to repair")
    for r in reports:
        if r.ratio is None:
            continue
        for way, repairing in r.ratio.repairing.items():
            isolating = r.ratio.isolating.get(way)
            yield (f"{r.configuration}, {way}", str(r.ratio.count), _three(isolating), _three(repairing))


def _three(values: tuple[float, float, float] | None) -> str:
    return " ".join(f"{value:.3f}" for value in values) if values else "-"


def _calibration(reports: Sequence[ConfigurationReport]) -> Iterator[Sequence[str]]:
    yield (
        "",
        "cases",
        "stated",
        "observed",
        "less",
        "log loss",
        "Brier",
        "z",
        "z first",
        "reliability",
        "resolution",
        "ECE",
        "if perfect",
    )
    for r in reports:
        for name, c in (("call", r.phone_calibration), ("visit", r.visit_calibration)):
            if c is not None:
                yield (
                    f"{r.configuration}, end of {name}",
                    str(c.count),
                    f"{c.stated:.3f}",
                    f"{c.observed.share:.3f}",
                    f"{c.gap:+.3f}",
                    f"{c.log_loss:.3f}",
                    f"{c.brier:.3f}",
                    f"{c.z:+.1f}",
                    f"{c.z_first:+.1f}",
                    f"{c.murphy.reliability:.4f}",
                    f"{c.murphy.resolution:.4f}",
                    f"{c.ece:.3f}" if c.ece is not None else "-",
                    f"{c.ece_if_perfect[0]:.3f}" if c.ece_if_perfect is not None else "-",
                )


def _grid(cells: Sequence[CellReport]) -> Iterator[Sequence[str]]:
    if not cells:
        return
    yield ("", "calls", "first", "in three", "stated", "lost", "visits right", "questions", "min to fix")
    for cell in cells:
        yield (
            cell.name,
            str(cell.count),
            percent(cell.phone_top1),
            percent(cell.phone_top3),
            f"{cell.stated:.2f}",
            str(cell.lost),
            percent(cell.visit_right),
            f"{cell.questions:.1f}",
            f"{cell.to_fix:.1f}",
        )


def _soundness(reports: Sequence[ConfigurationReport]) -> Iterator[str]:
    yield "Soundness: correct answers only, but for the one wrong answer"
    for r in reports:
        s = r.soundness
        if s is not None:
            yield (
                f"  {r.configuration}: {s.hypotheses} hypotheses, {s.weighed} beliefs; lowest belief in the truth "
                f"{s.least:.1e}; {percent(s.above_prior)} end no lower than they began; after one wrong answer "
                f"{with_interval(s.kept)} are still listed"
            )
            yield f"    lowest: {s.worst}"


# --- the README's table -------------------------------------------------------------------------------------------
def as_markdown(made: Evaluation) -> str:
    """The table of the README: one row for each configuration."""
    head = (
        "configuration",
        "calls",
        "phone: first",
        "phone: in first three",
        "visits that end right",
        "where no danger stands",
        "minutes to fix (repair alone)",
        "less than cheapest first",
        "over the optimum: mean, 95 %",
        "stated less observed: call, visit",
    )
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(_row(report)) + " |" for report in made.configurations]
    options = made.options
    names = "".join(f" --configuration {name}" for name in options.configurations)
    command = f"coldleg evaluate --seed {options.seed} --cases {options.cases}{names} --markdown"
    return "\n".join([*lines, "", f"Made by `{command}` from book `{made.book[:19]}`. {' '.join(WHAT_IT_IS)}"])


def _row(r: ConfigurationReport) -> Sequence[str]:
    ways = r.from_complaint
    saved = f"{saving(ways[COLDLEG], ways[CHEAPEST]):.0%}" if CHEAPEST in ways else "-"
    over = "{:.3f}, {:.3f}".format(*r.ratio.repairing[COLDLEG][:2]) if r.ratio else "-"
    gaps = ", ".join(f"{c.gap:+.3f}" for c in (r.phone_calibration, r.visit_calibration) if c is not None)
    return (
        r.configuration.replace("_", " "),
        str(r.count),
        with_interval(r.phone.end.top1),
        with_interval(r.phone.end.top3),
        with_interval(r.visit.right),
        f"{percent(r.visit.undisturbed)} of {r.visit.undisturbed.of}",
        f"{r.short.to_fix:.0f} ({r.short.own_repair:.0f})",
        saved,
        over,
        gaps,
    )
