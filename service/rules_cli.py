"""``coldleg rules``: check the book against the circuit, run its examples, list its rules, print one in plain words."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from rules import BookError, InputError, Problem, open_book
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Book, Rule
from rules.bookkeeping.yamlsource import nearest
from rules.checking import KINDS, Finding, Ran, Report, check_shapes, failing, report, rule_sentence, run_examples
from rules.checking import uncovered as uncovered_rules
from rules.checking.readability import HARDEST
from service.opening import book_option, opened, refuse

EXIT_FOUND = 1
ACTS = ("stop", "derive", "points_to", "establishes", "rules_out", "shift", "allow", "forbid", "ask", "visit")
json_option = click.option("--json", "as_json", is_flag=True, help="The report as JSON.")


@click.group("rules")
def rules_group() -> None:
    """Check, test, list and show the book's trade rules."""


# --- check -------------------------------------------------------------------------------------------------------
@rules_group.command("check")
@json_option
@click.option("--groups", "with_groups", is_flag=True, help="List the faults that no test tells apart.")
@book_option
def check_command(as_json: bool, with_groups: bool, book: Path | None) -> None:
    """Prove the book against the circuit model. Ends with 1 if it finds an error, 3 if the book cannot be used."""
    found = _report(book)
    bad = failing(found.findings)
    if as_json:
        click.echo(json.dumps(_as_json(found, ok=not bad), indent=2))
    else:
        click.echo("\n".join(_as_text(found, with_groups)))
    sys.exit(EXIT_FOUND if bad else 0)


def _report(folder: Path | None) -> Report:
    """The report on a book; of one whose rules cannot be chained, what is wrong with their shapes."""
    try:
        return report(open_book(folder))
    except BookError:
        try:
            shapes = tuple(check_shapes(list(load_book(folder).rules.values())))
        except BookError:
            shapes = ()
        if not shapes:
            opened(folder)  # says what is wrong and ends the command
        return Report(shapes, (), 0.0)


def _as_json(found: Report, *, ok: bool) -> dict[str, Any]:
    return {
        "ok": ok,
        "findings": [
            {**finding.__dict__, "level": finding.level, "accepted": finding.accepted} for finding in found.findings
        ],
        "ambiguity_groups": [
            {"members": list(g.members), "appliances": list(g.appliances), "shared_parts": list(g.shared)}
            for g in found.groups
        ],
        "hardest_grade": round(found.hardest_grade, 1),
    }


def _as_text(found: Report, with_groups: bool) -> list[str]:
    counts = {kind: Counter(_standing(f) for f in found.findings if f.kind == kind) for kind in KINDS}
    lines = [f"{'kind':26}{'errors':>7}{'notes':>7}{'accepted':>10}"]
    lines += [f"{kind:26}{n['error']:7}{n['note']:7}{n['accepted']:10}" for kind, n in counts.items()]
    for finding in found.findings:
        lines += ["", f"{_standing(finding)}: {finding.kind}: {finding.where}: {finding.subject}"]
        lines.append(f"  {finding.message}")
        if finding.accepted:
            lines.append(f"  accepted: {finding.accepted}")
    lines += ["", f"Texts for callers: hardest at school grade {found.hardest_grade:.1f}, the most is {HARDEST:g}."]
    more = "" if with_groups or not found.groups else "; --groups lists them"
    lines.append(f"Ambiguity groups, faults that no test tells apart: {len(found.groups)}{more}.")
    for group in found.groups if with_groups else ():
        shared = ", ".join(group.shared) or "no part shared"
        lines.append(f"  {', '.join(group.members)}  [{shared}]  on {', '.join(group.appliances)}")
    bad = len(failing(found.findings))
    lines.append(f"{bad} error{'' if bad == 1 else 's'}: the book needs mending." if bad else "The book holds.")
    return lines


def _standing(finding: Finding) -> str:
    return "accepted" if finding.accepted else finding.level


# --- test --------------------------------------------------------------------------------------------------------
@rules_group.command("test")
@click.option("--threshold", default=1.0, show_default=True, type=click.FloatRange(0, 1), help="Least share covered.")
@json_option
@book_option
def test_command(threshold: float, as_json: bool, book: Path | None) -> None:
    """Run every rule's examples. Ends with 1 if one fails or coverage is below the threshold."""
    expert = opened(book)
    ran = run_examples(expert)
    missing = uncovered_rules(ran, expert)
    total = len(expert.book.rules)
    coverage = 1 - len(missing) / total if total else 1.0
    failed = [entry for entry in ran if not entry.holds]
    if as_json:
        shown = {
            "examples": len(ran),
            "failed": [{"example": entry.name, "where": _at(entry.rule)} for entry in failed],
            "coverage": round(coverage, 4),
            "uncovered": [rule.rule for rule in missing],
        }
        click.echo(json.dumps(shown, indent=2))
    else:
        click.echo("\n".join(_tested(ran, failed, missing, coverage, total)))
    sys.exit(EXIT_FOUND if failed or coverage < threshold else 0)


def _tested(
    ran: Sequence[Ran], failed: Sequence[Ran], missing: Sequence[Rule], coverage: float, total: int
) -> list[str]:
    lines = [f"{len(ran) - len(failed)} of {len(ran)} examples hold."]
    for entry in failed:
        wanted = "should fire and does not" if entry.fires else "should stay silent and fires"
        lines.append(f"  failed: {_at(entry.rule)}: {entry.name}: {wanted}")
    lines.append(f"{total - len(missing)} of {total} rules fire on an example of their own: {coverage:.1%}.")
    lines += [f"  uncovered: {_at(rule)}: {rule.rule}" for rule in missing]
    return lines


def _at(rule: Rule) -> str:
    return f"{rule.file}:{rule.line}"


# --- list and show -----------------------------------------------------------------------------------------------
@rules_group.command("list")
@click.option("--points-to", "fault", metavar="FAULT", help="Rules that point to, establish or rule out this fault.")
@click.option("--act", type=click.Choice(ACTS), help="Rules that do this.")
@click.option("--fact", metavar="NAME", help="Rules with a premise on this fact.")
@book_option
def list_command(fault: str | None, act: str | None, fact: str | None, book: Path | None) -> None:
    """List the rules: id, what they do, file and line."""
    opened_book = opened(book).book
    problems = [*_unknown("--points-to", fault, opened_book.faults), *_unknown("--fact", fact, opened_book.facts)]
    if problems:
        refuse(InputError(problems))
    chosen = [rule for rule in opened_book.rules.values() if _wanted(rule, fault, act, fact)]
    width = max((len(rule.rule) for rule in chosen), default=0)
    for rule in chosen:
        click.echo(f"{rule.rule:{width}}  {', '.join(a for a in ACTS if getattr(rule, a)):24}  {_at(rule)}")
    click.echo(f"{len(chosen)} of {len(opened_book.rules)} rules.", err=True)


def _unknown(field: str, name: str | None, known: Any) -> list[Problem]:
    if name is None or name in known:
        return []
    return [Problem(field, f"the book has no {name!r}{nearest(name, known)}")]


def _wanted(rule: Rule, fault: str | None, act: str | None, fact: str | None) -> bool:
    facts = {premise.fact for premises in rule.alternatives for premise in premises}
    named = (*rule.points_to, *rule.establishes, *rule.rules_out)
    return (
        (fault is None or fault in named)
        and (act is None or bool(getattr(rule, act)))
        and (fact is None or fact in facts)
    )


@rules_group.command("show")
@click.argument("rule_id", metavar="ID")
@book_option
def show_command(rule_id: str, book: Path | None) -> None:
    """Print one rule as a plain sentence, with its source and examples."""
    opened_book = opened(book).book
    problems = _unknown("ID", rule_id, opened_book.rules)
    if problems:
        refuse(InputError(problems))
    click.echo("\n".join(_shown(opened_book.rules[rule_id], opened_book)))


def _shown(rule: Rule, book: Book) -> list[str]:
    lines = [rule.rule, "", rule_sentence(rule, book), ""]
    if rule.not_when:
        lines.append(f"{'Not when':12}{rule.not_when}")
    lines += [f"{'Source':12}{rule.source}", f"{'Written':12}{_at(rule)}"]
    for label, examples in (("Fires on", rule.fires_on), ("Silent on", rule.silent_on)):
        for number, example in enumerate(examples):
            facts = ", ".join(f"{key}={value}" for key, value in example.items())
            lines.append(f"{label if not number else '':12}{facts}")
    return lines
