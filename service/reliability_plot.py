"""The reliability plot: stated against observed, with counts. Needs matplotlib."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rules.evaluating.calibration import Bin, Calibration
from rules.evaluating.report import Evaluation

DOTS_PER_INCH = 120


def draw(made: Evaluation, file: Path) -> None:
    """One panel for the end of the call, one for the end of the visit; a line for each configuration."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 5.5), layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(1, 2, sharex=True, sharey=True)
    calls = [(r.configuration, r.phone_calibration) for r in made.configurations]
    visits = [(r.configuration, r.visit_calibration) for r in made.configurations]
    _panel(panels[0], "End of the call", calls)
    _panel(panels[1], "End of the visit", visits)
    figure.suptitle("How often the first line is right, against the probability stated for it")
    figure.savefig(file, dpi=DOTS_PER_INCH, format="png")


def _panel(axes: Any, title: str, lines: Sequence[tuple[str, Calibration | None]]) -> None:
    axes.plot([0, 1], [0, 1], color="0.6", linewidth=1, linestyle="--")
    for name, calibration in lines:
        if calibration is not None:
            _line(axes, f"{name.replace('_', ' ')}, {calibration.count}", calibration.bins)
    axes.set(title=title, xlabel="stated", ylabel="observed", xlim=(0, 1.02), ylim=(0, 1.05))
    axes.legend(loc="upper left", fontsize="small")


def _line(axes: Any, label: str, bins: Sequence[Bin]) -> None:
    """Bins as points with Wilson's intervals and their counts."""
    stated = [entry.stated for entry in bins]
    observed = [entry.observed.share for entry in bins]
    below = [max(entry.observed.share - entry.observed.low, 0) for entry in bins]
    above = [max(entry.observed.high - entry.observed.share, 0) for entry in bins]
    axes.errorbar(stated, observed, yerr=[below, above], marker="o", markersize=4, capsize=2, linewidth=1, label=label)
    for entry in bins:
        axes.annotate(
            str(entry.observed.of),
            (entry.stated, entry.observed.share),
            fontsize=6,
            xytext=(3, -8),
            textcoords="offset points",
        )
