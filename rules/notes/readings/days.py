"""Days since the last self-clean: ``ran self clean last night`` is 1, ``two weeks ago`` 14."""

from __future__ import annotations

import re
from collections.abc import Iterator

from rules.notes.readings.figures import COUNT, number
from rules.notes.told import Told

#: "After a self-clean", with no time said: within the day or so in which such a complaint is made (from memory).
UNSAID_DAYS = 1.0
_DAYS = {"day": 1.0, "week": 7.0, "month": 30.0, "year": 365.0, "hour": 1 / 24, "minute": 0.0, "night": 1.0}

_MENTION = re.compile(
    r"\b(?:self[\s-]{0,2}|auto[\s-]?|pyro(?:lytic)?[\s-]?)clean(?:s|ed|ing|er)?\b|\bclean(?:ing)?[\s-](?:cycle|mode|function)\b"
)
_AGO = re.compile(
    rf"\b(?P<count>{COUNT})\s(?P<unit>day|week|month|year|hour|minute|night)s?\s(?:ago|back|earlier|before)\b"
)
_NAMED = re.compile(
    r"\b(?:(?P<today>today|this\s(?:morning|afternoon|evening)|tonight|just\s(?:now|ran|finished|did|used)|earlier\stoday|an\shour\sago)"
    r"|(?P<yesterday>yesterday|last\s(?:night|nite|evening)|the\snight\sbefore|overnight)"
    r"|(?P<two>day\sbefore\syesterday|the\sother\s(?:day|night))"
    r"|(?P<weekend>(?:over|on|this|last)\s(?:the\s)?weekend)"
    r"|(?P<last>last\s(?P<lastunit>week|month|year)))\b"
)
_AFTER = re.compile(r"\b(?:after|since|following|right\safter|during|until|when|while|middle\sof|tried\sto|then)\b")
_DENIED = re.compile(
    r"\b(?:never|not|no|hasn't|haven't|havent|hasnt|didn't|didnt|doesn't|doesnt|don't|dont|won't|wont|without|can't|cant)\b"
)
_LOOK_BACK = 45


def self_clean_days(plain: str, start: int, end: int) -> Iterator[Told]:
    """The days since a self-clean that one sentence tells of."""
    for mention in _MENTION.finditer(plain, start, end):
        before = plain[max(start, mention.start() - _LOOK_BACK) : mention.start()]
        led = before.rsplit(",", 1)[-1]
        denied = _DENIED.search(led)
        if denied and not _AFTER.search(led, denied.end()):
            continue
        times = [*_times(plain, start, end)]
        if times:
            days, at, until = min(times, key=lambda time: _distance(plain, mention.span(), time[1:]))
            certainty = "said"
        elif _AFTER.search(before):
            days, at, until, certainty = UNSAID_DAYS, mention.start(), mention.end(), "hedged"
        else:
            continue
        span = min(at, mention.start()), max(until, mention.end())
        yield Told("self_clean_days", days, None, "hedged" if certainty == "hedged" else "said", *span)
        return


def _distance(plain: str, mention: tuple[int, int], time: tuple[int, int]) -> int:
    """Characters between; another clause is further than any word of the same."""
    first, last = sorted((mention, time))
    between = plain[first[1] : last[0]]
    return len(between) + (len(plain) if "," in between or ";" in between else 0)


def _times(plain: str, start: int, end: int) -> Iterator[tuple[float, int, int]]:
    for found in _AGO.finditer(plain, start, end):
        yield round(number(found["count"]) * _DAYS[found["unit"]], 2), found.start(), found.end()
    for found in _NAMED.finditer(plain, start, end):
        yield _named_days(found), found.start(), found.end()


def _named_days(found: re.Match[str]) -> float:
    if found["today"]:
        return 0.0
    if found["yesterday"]:
        return 1.0
    if found["last"]:
        return _DAYS[found["lastunit"]]
    return 2.0  # the other day, the weekend
