"""Oven temperatures against their setting, and preheat times: ``40 F low``, ``set 350 reads 310``."""

from __future__ import annotations

import re
from collections.abc import Iterator

from rules.notes.readings.figures import COUNT, NOT_AFTER, NOT_BEFORE, TENS, has_any, number
from rules.notes.told import Told

FAHRENHEIT_PER_CELSIUS = 1.8  # a difference, not a temperature
MOST_OFFSET = 400.0
SETTINGS = (80.0, 1000.0)  # what a setting or a thermometer may show, F or C
#: A sound oven preheats in 10 to 15 minutes; from here on a figure is a complaint (common practice, no source).
SLOW_MINUTES = 25.0

_UNIT = r"(?:\s{0,2}(?:°|deg(?:r?e{0,2})?s?\b\.?)){0,2}\s{0,2}(?P<unit>(?:f|c|fahrenheit|celsius|centigrade)\b)?"
_DEGREES = rf"(?P<degrees>{_UNIT})"
_RANGE = rf"{NOT_BEFORE}(?P<low>\d{{1,3}}|\b{TENS}\b)(?:\s?(?:-|to|or)\s?(?P<high>\d{{1,3}}))?(?:ish)?{NOT_AFTER}"
_COLD = r"low|cold|cool|cooler|colder|lower|under|below|short|shy|less|beneath|behind"
_HOT = r"overshoots?|overshooting|hot|hotter|high|higher|over|above|warm|warmer|more"
_WAY = rf"(?:(?P<cold>{_COLD})|(?P<hot>{_HOT}))\b(?!\s(?:as|low|medium|enough|surface|light|burner|setting\s\d))"
_BETWEEN = r"(?:(?:off|out),?\s|,\s)?(?:to{1,2}\s|way\s|on\sthe\s|of\sthe\s|running\s|or\sso\s){0,2}"
_FIGURE_FIRST = re.compile(rf"{_RANGE}{_DEGREES}\s{{0,2}}{_BETWEEN}{_WAY}")
_ABOUT_WORDS = (
    r"about\s|abt\s|around\s|roughly\s|maybe\s|at\sleast\s|some\s|approx\.?\s|approximately\s|nearly\s|almost\s|"
    r"close\sto\s|like\s|good\s|a\s|~\s?"
)
_ABOUT = rf"(?:{_ABOUT_WORDS}){{0,3}}"
_WAY_FIRST = re.compile(rf"\b{_WAY}\s(?:than\s\w+\s)?by\s{_ABOUT}{_RANGE}{_DEGREES}")
_SHORTFALL = re.compile(
    rf"\b(?:shortfall|deficit|undershoots?|undershooting|lags?|lagging|behind|misses|short|shy)\s(?:of\s|by\s|the\s\w+\s|its\s\w+\s|setting\s|set\s?point\s){{0,4}}{_ABOUT}{_RANGE}{_DEGREES}"
)
_RUNS = re.compile(
    r"\b(?:runs?|running|reads?|reading|shows?|showing|says|measures|bakes|cooks|heats?|ht|off|is|its|consistently|temps?|averag\w*|avg)\s(?:consistently\s|always\s|about\s|abt\s|around\s|like\s|roughly\s|~\s?){0,2}\Z"
)
_SOME = rf"(?:is\s|by\s|of\s|{_ABOUT_WORDS}){{0,3}}"
_MINUS = re.compile(rf"(?:\boff|\bout|\boffset)\s{_SOME}(?:-\s?|minus\s)(?P<low>\d{{1,3}}){_DEGREES}")
#: "ovn -40", as a dispatcher writes it.
_SIGNED = re.compile(
    rf"\b(?:ovn|oven|temps?|runs?|bakes?)\s(?:is\s|about\s|~\s?){{0,2}}-(?P<low>\d{{2,3}}){NOT_AFTER}(?!\s?(?:y|min|h)){_DEGREES}"
)
_LOW_BY = re.compile(
    rf"\b(?:temps?|temperature|oven|bakes?|baking|runs?|running|reads?|reading)\s(?:is\s|temp\s|runs?\s|running\s|reads?\s)"
    rf"{{0,2}}(?:way\s|too\s)?(?P<way>low|cold|cool|short|under|shy|off|down|high|hot|over)(?:\stemp)?\s{_SOME}{_RANGE}{_DEGREES}"
)
#: "about forty off": too cold as a rule, unless the sentence has a word for hot.
_JUST_OFF = re.compile(rf"{_RANGE}{_DEGREES}\s?off\b(?!\s(?:low|cold|cool|high|hot))")
_TOO_HOT = re.compile(r"\b(?:hot|hotter|high|over|burn)")
_SITS_COLD = re.compile(
    rf"\b(?:(?:sits?|sitting|stays?|stuck|hangs?|hovers?|parked|stops?|stalls?)\s(?:at|on|around|near)|"
    rf"(?:never|doesn'?t|didn'?t|won'?t|hasn'?t|not)\s(?:left|leave|budged?\s(?:from|off)|moved?\s(?:off|from|past)|(?:got|get|gets|go|goes)\s(?:past|above|over)|exceeds?|exceeded|climbed?\s(?:past|above))|still\s(?:at|reads|reading))\s(?:about\s|around\s)?"
    rf"{NOT_BEFORE}(?P<low>\d{{2,3}}){NOT_AFTER}{_UNIT}"
)
COLD_OVEN = 120.0  # F; an oven that stays below it does not heat (common practice, no source)
_OVEN = re.compile(
    r"\boven|\bbak(?:e|es|ing)\b|\btemp|\bruns?\b|\brunning\b|\bthermometer|\bset\b|\bsetting\b|\bset\s?points?\b|\bundercook|\bcavity|\bprobe|\boff\sby\b|\bcalibrat|\bovershoot"
)
#: "350 comes out like 300".
_LIKE = re.compile(
    rf"{NOT_BEFORE}(?P<set>\d{{3}}){NOT_AFTER}{_DEGREES}\s(?:\w+\s){{0,2}}?(?:comes?\sout|cooks?|bakes?|acts?|is|runs?|feels?|works?)\s"
    rf"(?:more\s)?(?:like|as)\s{_ABOUT}(?P<low>\d{{3}}){NOT_AFTER}"
)
_TWO_FIGURES = re.compile(r"\d\D+\d")
#: "40 low", and nothing else in the note.
_ALONE = re.compile(
    rf"\W*{_ABOUT}(?P<low>\d{{2,3}}){_DEGREES}\s(?:too\s|to\s|running\s)?(?:(?P<cold>low|cold|under|cool)|(?P<hot>high|hot|over))\W*\Z"
)
#: One of these stands in whatever tells a difference; they spare the searches.
_WAY_OR_OFF = ("low", "cold", "cool", "under", "below", "short", "shy", "less", "beneath", "behind", "hot", "high",
               "over", "above", "warm", "more", "off", "out", "down", "-", "deficit", "lag", "miss")  # fmt: skip
_NEED_A_UNIT = {"under", "below", "short", "shy", "less", "beneath", "behind", "over", "above", "more"}

_TEMPERATURE = re.compile(rf"{NOT_BEFORE}(?P<low>\d{{2,3}}){NOT_AFTER}(?!\s?v(?:olts?|ac)?\b){_UNIT}")
_SET_BEFORE = re.compile(
    r"\b(?:set(?:ting)?|dial(?:ed)?|dialled|preheat(?:ed|ing)?|target|supposed|should|instead|asked?|call(?:ed|ing)?|punch(?:ed)?|set\s?point|wanted|sp)\b[^\d;]{0,22}\Z"
)
_SET_AFTER = re.compile(
    r"\s?(?:°|degrees?|f\b|c\b)?\s?(?:set(?:ting|\s?point)?|call(?:ed)?|bake|target|on\sthe\s(?:dial|knob|display|control))\b"
)
_AT_BEFORE = re.compile(r"\b(?:at|for|to|on|vs\.?|versus|against)\s(?:a\s|an\s)?\Z")
_READS = (
    r"reads?|reading|sez|sees?|avg|averag(?:e|es|ed|ing)|cent(?:er|re)|cavity|therm|thermocouple|tc|meters?|levels?\soff|plateaus?|peaks?|settles?|actl?|real|shows?|showing|says?|saying|measur(?:es?|ed|ing)|actual(?:ly)?|reach(?:es|ed)?|hits?|gets?|getting|got|only|temp(?:erature)?|"
    r"really|thermometer|probe|inside|heats?(?:\sup)?\sto|stops?|tops\sout|maxes\sout|comes\sup|climbs?|went|goes|made\sit|tops|maxes|never\s(?:gets|goes|got)\s(?:over|past|above)"
)
_READ_BEFORE = re.compile(rf"\b(?:{_READS}|is|its|it\sis|was)\b[^\d;]{{0,22}}\Z")
_READ_AFTER = re.compile(
    r"\s?(?:°|degrees?|f\b|c\b)?\s?(?:actual|measured|inside|avg|average|swing|(?:on|by|per|with)\s(?:the|my|an?|his|her|our)\s(?:\w+\s)?(?:thermometer|probe|meter)|at\sthe\srack)\b"
)
_REALLY = re.compile(
    r"\b(?:actual(?:ly)?|really|in\sfact|thermometer|thermometers|therm|thermo|probe|inside|measur\w*)[^\d;]{0,22}\Z"
)
#: What the control shows is the setting, beside what a probe says.
_SHOWN_BEFORE = re.compile(
    r"\b(?:panel|display|control|readout|screen|dial|knob)\s(?:\w+\s)?(?:reads?|says?|shows?|at|on)\s\Z"
)
_LOOK_BACK = 40

_DURATION = rf"(?P<count>{COUNT})(?:\s?(?:-|to)\s?\d{{1,3}})?\s?(?P<span>min(?:ute)?s?|hours?|hrs?)\b"
_HEATING_UP = r"(?:pre\s?-?heat|heat\sup|warm\sup|come\sup|get\s(?:up\s)?(?:to|hot)|reach|get\sup)"
_TAKES = r"(?:takes?|took|taking|needs?|needed|wants|requires?)"
_SLOW = (
    re.compile(rf"\b{_TAKES}\s(?:\w+\s){{0,4}}?{_DURATION}(?:\s\w+){{0,3}}?\s{_HEATING_UP}"),
    re.compile(rf"\bpre\s?-?heat(?:s|ed|ing)?\s(?:\w+\s){{0,3}}?{_DURATION}"),
    re.compile(rf"\boven\s(?:\w+\s){{0,3}}?(?:to\s)?[34]\d\d\s?(?:f\s|degrees\s)?(?:in|after|takes|took)\s{_DURATION}"),
)


def oven_offsets(plain: str, start: int, end: int) -> Iterator[Told]:
    """How far the oven is from its setting, in F: negative is too cold."""
    alone = _ALONE.match(plain)
    if alone:
        size = number(alone["low"])
        told = _offset(-size if alone["cold"] else size, alone["unit"], alone.start("low"), alone.end())
        if told is not None:
            yield told._replace(certainty="hedged")
        return
    told = _by_how_much(plain, start, end) if has_any(plain[start:end], _WAY_OR_OFF) else None
    if told is not None:
        yield told
        return
    if not _TWO_FIGURES.search(plain, start, end):
        return
    like = _LIKE.search(plain, start, end)
    told = like and _offset(number(like["low"]) - number(like["set"]), like["unit"], like.start(), like.end())
    if told:
        yield told
        return
    yield from _set_and_read(plain, start, end)


def _by_how_much(plain: str, start: int, end: int) -> Told | None:
    """``40 F low``, ``off by 30``, ``oven -40``: a figure that is the difference itself."""
    spoken = bool(_OVEN.search(plain, start, end))
    by = plain.find("by", start, end) >= 0
    for pattern in (_FIGURE_FIRST, _WAY_FIRST) if by else (_FIGURE_FIRST,):
        for found in pattern.finditer(plain, start, end):
            told = _away(found, spoken)
            if told is not None:
                return told
    below = spoken and (_MINUS.search(plain, start, end) or _SIGNED.search(plain, start, end))
    if below:
        told = _offset(-number(below["low"]), below["unit"], below.start(), below.end())
        if told is not None:
            return told
    off = _SHORTFALL.search(plain, start, end)
    if off is None or not (spoken or off["degrees"].strip()):
        off = (_LOW_BY.search(plain, start, end) or _JUST_OFF.search(plain, start, end)) if spoken else None
    if off is None:
        return None
    way = off.groupdict().get("way")
    hot = way in ("high", "hot", "over") or (way in (None, "off") and _TOO_HOT.search(plain, start, end))
    size = (number(off["low"]) + number(off["high"] or off["low"])) / 2
    return _offset(size if hot else -size, off["unit"], off.start(), off.end())


def stays_cold(plain: str, start: int, end: int) -> Iterator[Told]:
    """``it just sits at 100 degrees``: an oven that does not heat."""
    for found in _SITS_COLD.finditer(plain, start, end):
        if number(found["low"]) <= COLD_OVEN and _OVEN.search(plain, start, end):  # fmt: skip
            yield Told("oven.bake.heat", "none", None, "hedged", found.start(), found.end())


def _away(found: re.Match[str], spoken: bool) -> Told | None:
    """``40 F low``: with its unit, or in a sentence that speaks of an oven's temperature."""
    way = found["cold"] or found["hot"]
    runs = _RUNS.search(found.string, max(0, found.start() - _LOOK_BACK), found.start())
    if not found["degrees"].strip() and (not spoken or (way in _NEED_A_UNIT and not runs)):
        return None
    low = number(found["low"])
    size = (low + number(found["high"])) / 2 if found["high"] else low
    return _offset(-size if found["cold"] else size, found["unit"], found.start(), found.end())


def _offset(size: float, unit: str | None, start: int, end: int) -> Told | None:
    if unit and unit.startswith("c"):
        size *= FAHRENHEIT_PER_CELSIUS
    if abs(size) > MOST_OFFSET:
        return None
    return Told("oven.offset", round(size, 1), None, "said", start, end)


def _set_and_read(plain: str, start: int, end: int) -> Iterator[Told]:
    """``set 350 reads 310``, ``310 at 350``: one figure is the setting, one the thermometer's."""
    wanted: re.Match[str] | None = None
    read: re.Match[str] | None = None
    maybe: re.Match[str] | None = None
    really: re.Match[str] | None = None
    shown: re.Match[str] | None = None
    for found in _TEMPERATURE.finditer(plain, start, end):
        if not SETTINGS[0] <= number(found["low"]) <= SETTINGS[1]:
            continue
        before = plain[max(start, found.start() - _LOOK_BACK) : found.start()]
        read_after = _READ_AFTER.match(plain, found.end(), end)
        if not read_after and (_SET_AFTER.match(plain, found.end(), end) or _SET_BEFORE.search(before)):
            wanted = wanted or found
        elif _SHOWN_BEFORE.search(before):
            shown = shown or found
        elif read_after or _READ_BEFORE.search(before):
            if read is not None and _REALLY.search(before):
                really = really or found
            read = read or found
        elif _AT_BEFORE.search(before):
            maybe = maybe or found
    if shown:
        wanted, read = (wanted, read or shown) if wanted else (shown, read)
    if really and not wanted and not maybe:
        wanted, read = read, really  # "the oven reads 350 but is actually 310"
    wanted = wanted or maybe
    if wanted and read:
        unit = wanted["unit"] or read["unit"]
        if number(read["low"]) <= COLD_OVEN and not (unit or "f").startswith("c"):
            return  # it does not heat; :func:`stays_cold` says so
        size = number(read["low"]) - number(wanted["low"])
        told = _offset(size, unit, min(wanted.start(), read.start()), max(wanted.end(), read.end()))
        if told:
            yield told


def preheat_times(plain: str, start: int, end: int) -> Iterator[Told]:
    """``takes 45 minutes to preheat`` is slow; a usual time says nothing."""
    for pattern in _SLOW:
        for found in pattern.finditer(plain, start, end):
            minutes = number(found["count"]) * (60 if found["span"].startswith("h") else 1)
            if minutes >= SLOW_MINUTES:
                yield Told("oven.preheat", "slow", None, "said", found.start(), found.end())
