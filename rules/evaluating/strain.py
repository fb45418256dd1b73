"""How far the simulated world is from the book. Every figure here is invented; they set how hard the test is.

The protocol asks for tables, priors and minutes that are off, error rates between half and twice those assumed, and
good and bad callers mixed. A value that is set (``caller_error``, ``dont_know``) takes the place of what is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Strain:
    """The spread of everything that is drawn. ``_sd``: standard deviation of a lognormal factor, unless it says other.

    ``good`` and ``bad``: how a caller's error compares with the one the ranker assumes; ``bad_share`` are bad.
    ``mixed``: share of what no circuit predicts that is another appliance's. ``twofold``: most that an error rate is
    multiplied or divided by.
    """

    prior_sd: float = 0.5
    place_sd: float = 0.3
    amounts_sd: float = 0.35
    parts_sd: float = 0.05  # every sound resistance but the elements'
    shows_sd: float = 0.6  # in logits
    supply_volts_sd: float = 2.5  # volts, cut at the service range of 114 to 126
    element_mean: float = 0.975  # watts against the nameplate, cut at 0.90 and 1.05 as makers allow
    element_sd: float = 0.03
    sensor_ohms_sd: float = 2.0
    oven_spread_f_sd: float = 4.0  # how far a sound oven runs off what it is set to; nobody has corrected it
    mixed: float = 0.02
    twofold: float = 2.0
    good: float = 0.625
    bad: float = 2.5
    bad_share: float = 0.2
    wrong_words_sd: float = 0.5
    wrong_words_uniform: float = 0.2
    dont_know_sd: float = 0.5
    test_minutes_sd: float = 0.3
    repair_minutes_sd: float = 0.3
    caller_error: float | None = None
    dont_know: float | None = None


#: What the README's table is made with.
PERTURBED = Strain()
