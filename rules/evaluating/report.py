"""From what the pieces gave to the figures that are published."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rules.belief.signatures import NONE_OF_THESE_SHARE
from rules.evaluating.calibration import Calibration, Share, calibrated, dirichlet, share
from rules.evaluating.plan import Options, Piece
from rules.evaluating.soundness import FLOOR, Sound
from rules.evaluating.submodels import Ratios
from rules.evaluating.walking import Phone, Snapshot, Visit
from rules.evaluating.working import CHEAPEST, COLDLEG, Call, Done
from rules.triage import DEFAULT_APPLIANCE

MARKS = (0, 3, 5, 8)
ASSUMED_WRONG, ASSUMED_STRENGTH = 0.08, 25.0  # the prior of a caller's error, Beta(2, 23)
IN_LIST = 3


@dataclass(frozen=True)
class Ranks:
    """How often the truth stands first, and among the first three: faults of one part as one line, and by itself."""

    top1: Share
    top3: Share
    top1_fault: Share
    top3_fault: Share


@dataclass(frozen=True)
class PhoneReport:
    """``at``: by number of questions. ``caller_error``: share of answers that were wrong, mean and standard deviation
    from Beta(2, 23)."""

    at: dict[int, Ranks]
    end: Ranks
    questions: float
    minutes: float
    ended: dict[str, int]
    caller_error: tuple[float, float]


@dataclass(frozen=True)
class VisitReport:
    """``right``: when repairing begins, the first fault is the true one or has the same repair at the same place.

    ``undisturbed``: the same of those over which no danger stands, where everything may be measured.
    ``first_repair``: it is mended by the first repair that is tried; ``given_up``: somebody else is sent for. Minutes
    are means; ``own_repair`` cannot be avoided.
    """

    right: Share
    undisturbed: Share
    ranks: Ranks
    isolated: Share
    established: Share
    first_repair: Share
    given_up: Share
    tests: float
    test_minutes: float
    to_isolate: float
    to_fix: float
    own_repair: float


@dataclass(frozen=True)
class RatioReport:
    """Expected minutes over the optimum's: mean, 95th percentile, greatest, by way of working."""

    count: int
    isolating: dict[str, tuple[float, float, float]]
    repairing: dict[str, tuple[float, float, float]]


@dataclass(frozen=True)
class SoundReport:
    """``least``: the lowest belief in a true fault after correct answers; ``worst`` says where and after what.

    ``kept``: one wrong answer leaves it in the list; ``above_prior``: after what is advised it is no less than before.
    """

    hypotheses: int
    weighed: int
    least: float
    worst: str
    kept: Share
    above_prior: Share


@dataclass(frozen=True)
class CellReport:
    """A cell of the robustness grid. ``lost``: the truth ended the telephone call below 1e-6."""

    name: str
    count: int
    phone_top1: Share
    phone_top3: Share
    stated: float
    lost: int
    visit_right: Share
    questions: float
    to_fix: float


@dataclass(frozen=True)
class ConfigurationReport:
    """One configuration.

    ``phone`` and ``visit`` go on while any test is listed; ``brief`` and ``short`` stop where the next step stops.
    ``from_complaint``: visits without a telephone call, by way of working, on the same cases.
    """

    configuration: str
    count: int
    unseen: int
    phone: PhoneReport
    visit: VisitReport
    brief: PhoneReport
    short: VisitReport
    ceilings: tuple[Ranks, Ranks]  # if the caller were asked everything; if everything were measured besides
    families: dict[str, tuple[Ranks, Share]]  # at the end of the call; visits that end right
    from_complaint: dict[str, VisitReport]
    pairs: tuple[Ranks, Share] | None
    outside: Share | None  # none of these among the first three at the visit's end
    phone_calibration: Calibration | None
    visit_calibration: Calibration | None
    ratio: RatioReport | None
    soundness: SoundReport | None


@dataclass(frozen=True)
class Target:
    """A figure that must be reached on the default appliance."""

    name: str
    wanted: str
    got: float
    met: bool


@dataclass(frozen=True)
class Evaluation:
    """Everything. ``targets`` are judged on the default appliance, or the first one asked for."""

    options: Options
    book: str
    configurations: tuple[ConfigurationReport, ...]
    grid: tuple[CellReport, ...]
    targets: tuple[Target, ...]


def compiled(options: Options, book: str, done: Sequence[Done]) -> Evaluation:
    """Put all pieces together."""
    reports = tuple(
        report
        for name in options.configurations
        if (report := _configuration(name, [d for d in done if d.piece.configuration == name])) is not None
    )
    grid = tuple(_cell(entry.piece, entry.calls) for entry in done if entry.piece.kind == "grid" and entry.calls)
    judged = next((r for r in reports if r.configuration == DEFAULT_APPLIANCE), reports[0] if reports else None)
    return Evaluation(options, book, reports, grid, tuple(_targets(judged)) if judged else ())


def _configuration(name: str, done: Sequence[Done]) -> ConfigurationReport | None:
    def of(kind: str) -> list[Call]:
        return [call for entry in done if entry.piece.kind == kind for call in entry.calls]

    calls, pairs, outside = of("calls"), of("pairs"), of("outside")
    if not calls:
        return None
    families: dict[str, list[Call]] = defaultdict(list)
    for call in calls:
        families[call.family].append(call)
    mixed = calls + outside[: round(len(calls) * NONE_OF_THESE_SHARE / (1 - NONE_OF_THESE_SHARE))]
    worked = sorted({way for call in calls for way in call.orders}, key=lambda way: way != COLDLEG)
    return ConfigurationReport(
        configuration=name,
        count=len(calls),
        unseen=sum(entry.unseen for entry in done if entry.piece.kind == "calls"),
        phone=_phone([call.phone for call in calls]),
        visit=_visit([call.visit for call in calls]),
        brief=_phone([call.brief for call in calls]),
        short=_visit([call.short for call in calls]),
        ceilings=(
            _ranks([call.all_told for call in calls if call.all_told]),
            _ranks([call.all_known for call in calls if call.all_known]),
        ),
        families={family: _family(entries) for family, entries in sorted(families.items())},
        from_complaint={way: _visit([c.orders[way] for c in calls if way in c.orders]) for way in worked},
        pairs=_family(pairs) if pairs else None,
        outside=_count(outside, lambda call: call.visit.end.p_true >= 1 / IN_LIST) if outside else None,
        phone_calibration=_calibration([call.phone.at[-1] for call in mixed]),
        visit_calibration=_calibration([call.visit.end for call in mixed]),
        ratio=_ratio([entry for d in done for entry in d.ratios]),
        soundness=_soundness([sound for d in done for sound in d.sounds]),
    )


def _count(calls: Iterable[Call], test: Callable[[Call], bool]) -> Share:
    marks = [test(call) for call in calls]
    return share(sum(marks), len(marks))


def _ranks(shots: Sequence[Snapshot]) -> Ranks:
    def within(rank: Callable[[Snapshot], int], most: int) -> Share:
        return share(sum(rank(shot) < most for shot in shots), len(shots))

    return Ranks(
        within(lambda s: s.part_rank, 1),
        within(lambda s: s.part_rank, IN_LIST),
        within(lambda s: s.fault_rank, 1),
        within(lambda s: s.fault_rank, IN_LIST),
    )


def _phone(phones: Sequence[Phone]) -> PhoneReport:
    wrong, answers = sum(phone.wrong for phone in phones), sum(phone.answers for phone in phones)
    mean, deviation = dirichlet([ASSUMED_WRONG, 1 - ASSUMED_WRONG], ASSUMED_STRENGTH, [wrong, answers - wrong])
    return PhoneReport(
        at={mark: _ranks([phone.after(mark) for phone in phones]) for mark in MARKS},
        end=_ranks([phone.at[-1] for phone in phones]),
        questions=float(np.mean([phone.questions for phone in phones])),
        minutes=float(np.mean([phone.minutes for phone in phones])),
        ended=dict(sorted(Counter(phone.ended for phone in phones).items())),
        caller_error=(float(mean[0]), float(deviation[0])),
    )


def _visit(visits: Sequence[Visit]) -> VisitReport:
    def counted(test: Callable[[Visit], bool]) -> Share:
        return share(sum(test(visit) for visit in visits), len(visits))

    def mean(number: Callable[[Visit], float]) -> float:
        return float(np.mean([number(visit) for visit in visits]))

    free = [visit for visit in visits if not visit.stopped]
    return VisitReport(
        right=counted(lambda v: v.end.same_part),
        undisturbed=share(sum(v.end.same_part for v in free), len(free)),
        ranks=_ranks([v.end for v in visits]),
        isolated=counted(lambda v: v.is_isolated),
        established=counted(lambda v: v.established),
        first_repair=counted(lambda v: v.wrong_repairs == 0 and not v.given_up),
        given_up=counted(lambda v: v.given_up),
        tests=mean(lambda v: v.tests),
        test_minutes=mean(lambda v: v.test_minutes),
        to_isolate=mean(lambda v: v.isolated),
        to_fix=mean(lambda v: v.fixed),
        own_repair=mean(lambda v: v.own_repair),
    )


def _family(calls: Sequence[Call]) -> tuple[Ranks, Share]:
    return _ranks([call.phone.at[-1] for call in calls]), _count(calls, lambda call: call.visit.end.same_part)


def _calibration(shots: Sequence[Snapshot]) -> Calibration | None:
    return calibrated(
        [s.stated for s in shots],
        [s.first for s in shots],
        [s.p_true for s in shots],
        [s.entropy for s in shots],
        [s.spread for s in shots],
        [s.brier for s in shots],
    )


def _ratio(entries: Sequence[Ratios]) -> RatioReport | None:
    if not entries:
        return None

    def summed(found: Sequence[dict[str, float]]) -> dict[str, tuple[float, float, float]]:
        made = {}
        for way in found[0]:
            values = [entry[way] for entry in found]
            made[way] = (float(np.mean(values)), float(np.quantile(values, 0.95)), float(np.max(values)))
        return made

    return RatioReport(len(entries), summed([e.isolating for e in entries]), summed([e.repairing for e in entries]))


def _soundness(sounds: Sequence[Sound]) -> SoundReport | None:
    if not sounds:
        return None
    lowest = min(sounds, key=lambda sound: sound.least)
    place = f" at {lowest.where}" if lowest.where else ""
    return SoundReport(
        hypotheses=len(sounds),
        weighed=sum(sound.weighed for sound in sounds),
        least=lowest.least,
        worst=f"{lowest.fault}{place} after {', '.join(lowest.after)}",
        kept=share(sum(sound.kept for sound in sounds), sum(sound.tried for sound in sounds)),
        above_prior=share(sum(sound.at_stop >= sound.prior for sound in sounds), len(sounds)),
    )


def _cell(piece: Piece, calls: Sequence[Call]) -> CellReport:
    ends = [call.phone.at[-1] for call in calls]
    ranks = _ranks(ends)
    return CellReport(
        name=piece.cell.name if piece.cell else "",
        count=len(calls),
        phone_top1=ranks.top1,
        phone_top3=ranks.top3,
        stated=float(np.mean([shot.stated for shot in ends])),
        lost=sum(shot.p_true < FLOOR for shot in ends),
        visit_right=_count(calls, lambda call: call.visit.end.same_part),
        questions=float(np.mean([call.phone.questions for call in calls])),
        to_fix=float(np.mean([call.short.fixed for call in calls])),
    )


def _targets(report: ConfigurationReport) -> Iterable[Target]:
    """The figures that must be reached, each with what was got."""

    def at_least(name: str, got: float, wanted: float) -> Target:
        return Target(name, f">= {wanted:g}", got, got >= wanted)

    def at_most(name: str, got: float, wanted: float) -> Target:
        return Target(name, f"<= {wanted:g}", got, got <= wanted)

    yield at_least("visits that end with the true fault, or its part, first", report.visit.right.share, 0.98)
    yield at_least("telephone only, true fault in the first three", report.phone.end.top3.share, 0.90)
    yield at_least("telephone only, true fault first", report.phone.end.top1.share, 0.70)
    if report.ratio is not None:
        mean, high, _ = report.ratio.repairing[COLDLEG]
        yield at_most("minutes over the optimum, mean", mean, 1.03)
        yield at_most("minutes over the optimum, 95th percentile", high, 1.10)
    ways = report.from_complaint
    if COLDLEG in ways and CHEAPEST in ways:
        yield at_least("minutes saved against cheapest first", saving(ways[COLDLEG], ways[CHEAPEST]), 0.45)
    for name, calibration in (("call", report.phone_calibration), ("visit", report.visit_calibration)):
        if calibration is not None:
            yield at_most(f"stated less observed, first line, end of {name}", abs(calibration.gap), 0.03)
    if report.soundness is not None:
        yield at_least("lowest belief in the truth after correct answers", report.soundness.least, FLOOR)


def saving(own: VisitReport, other: VisitReport) -> float:
    """Share of another way's minutes to the repaired range that one's own saves."""
    return 1 - own.to_fix / other.to_fix
