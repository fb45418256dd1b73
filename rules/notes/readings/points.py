"""The words for meter points, volts and loads, in every form a technician writes them.

Conductors are named by number (L1), colour (black, red, white), terminal letter (X, Y, W) or position (outer lugs to
the centre lug); a figure may be spelled out ("one twenty one") and nothing may be "zip" or "goose egg".
"""

from __future__ import annotations

import re

from rules.notes.readings.figures import NOT_AFTER, NOT_BEFORE

LEGS = ("L1-N", "L2-N")
_TO = r"(?:\s?-{1,2}>\s?|\s?=>\s?|\s{0,2}(?:-to-|-|/|to|and|&|_|vs?\.?|\||->)\s{0,2})(?:the\s)?"
_CENTRE = r"(?:the\s)?(?:center|centre|middle)(?:\s(?:lug|terminal|post|screw))?"
_N = rf"(?:neutral|neut|nuetral|netural|n|w|white|wht|{_CENTRE})\b"
_LEG = r"(?:legs?|lines?|hots?|phases?|sides?)"
_OUTER = r"(?:(?:two\s)?(?:outer|outside)|outers|hots?)(?:\s(?:lugs?|terminals?|posts?|screws?|ones|legs?))?"
_NUMBERED1, _NUMBERED2 = (rf"\b(?:l|leg\s?|line\s?|hot\s?|phase\s?){number}(?!\d)" for number in (1, 2))
_L1 = rf"(?:{_NUMBERED1}|\b(?:black|blk|x|leg\sa|a\sleg|left\s(?:lug|terminal|leg|hot|side))\b)"
_L2 = rf"(?:{_NUMBERED2}|\b(?:red|y|leg\sb|b\sleg|right\s(?:lug|terminal|leg|hot|side))\b)"
POINTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (r"\bl1l2\b|\bl2l1\b", ("L1-L2",)),
    (r"\bl1n\b|\bnl1\b", ("L1-N",)),
    (r"\bl2n\b|\bnl2\b", ("L2-N",)),
    (rf"{_L1}{_TO}{_L2}|{_L2}{_TO}{_L1}|\bleft{_TO}right\b", ("L1-L2",)),
    (
        r"\b(?:across|between|over)\s(?:the\s|both\s|two\s|of\s|outer\s|outside\s|hot\s){0,3}"
        rf"(?:{_LEG}|lugs|terminals|outers)\b(?!\s?\d)",
        ("L1-L2",),
    ),
    (rf"\b{_LEG}{_TO}(?:the\s|other\s){{0,2}}{_LEG}\b|\bl\s?-\s?l\b|\bl2l\b", ("L1-L2",)),
    (rf"\b{_OUTER}{_TO}(?:other\s)?{_OUTER}\b", ("L1-L2",)),
    (rf"(?:{_L1}|\bleft){_TO}{_N}|\b{_N}{_TO}{_L1}", ("L1-N",)),
    (rf"(?:{_L2}|\bright){_TO}{_N}|\b{_N}{_TO}{_L2}", ("L2-N",)),
    (r"\b(?:neutral|neut|n)" + _TO + r"(?:ground|gnd|grd|g|earth|chassis|frame|cabinet|ch)\b", ("N-G",)),
    (
        rf"\b(?:each|both|either)\s(?:of\sthe\s|the\s)?(?:hot\s|outer\s|outside\s)?(?:{_LEG}|lugs?|terminals?)"
        rf"(?:\s(?:of\sthe\sblock\s)?to\s(?:the\s)?{_N})?",
        LEGS,
    ),
    (rf"\b(?:{_LEG}|{_OUTER}){_TO}{_N}(?:\s(?:on\s)?(?:each|both))?", LEGS),
    (_NUMBERED1, ("L1-N",)),
    (_NUMBERED2, ("L2-N",)),
    (r"\b(?:to|and)\s(?:the\s)?(?:neutral|neut)\b(?:\s(?:on\s)?(?:each|both))?", LEGS),
    (r"\bacross\b|\bbetween\s(?:them|em|the\stwo|both)\b", ("L1-L2",)),
)
#: Every name of points begins with a letter at the start of a word; told first, it spares trying each name everywhere.
POINTS_RE = re.compile(
    r"\b(?=[abceho-pl-nrtwxy])(?:" + "|".join(f"(?P<p{at}>{pattern})" for at, (pattern, _) in enumerate(POINTS)) + ")"
)

_ONES = {"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9}
_TEENS = {
    "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16,
    "seventeen": 17, "eighteen": 18, "nineteen": 19,
}  # fmt: skip
_TENS = {"twenty": 20, "thirty": 30, "forty": 40, "fifty": 50}
_ONE = "|".join(_ONES)
SPELLED = (
    rf"(?:one|two|a)[\s-](?:hundred[\s-](?:and[\s-])?)?"
    rf"(?:(?:{'|'.join(_TENS)})(?:[\s-](?:{_ONE})\b)?|(?:{'|'.join(_TEENS)})|oh[\s-](?:{_ONE}))\b"
)
_NOTHING = (
    r"zero|zip|zilch|zippo|nil|nada|nothing|none|(?:a\s)?(?:big\s)?(?:fat\s)?goose\s?egg|no\sreading|no\svolt(?:s|age)?|"
    r"(?:less\sthan|under|below)\s(?:a|one|half\sa)(?=\svolt)|a\s(?:few|couple(?:\sof)?)\s(?:milli)?(?=volts)"
)
FIGURE = re.compile(
    rf"{NOT_BEFORE}(?P<figure>\d{{1,3}}(?:\.\d{{1,3}})?)(?P<unit>\s?(?P<kilo>k)?v(?:olts?|ac|dc|lts?)?\b\.?)?{NOT_AFTER}"
    rf"|\b(?P<zero>{_NOTHING})\b(?P<unit0>\s(?:v|volts?)\b)?"
    rf"|\b(?P<spelled>{SPELLED})(?P<unit1>\sv(?:olts?)?\b)?"
)
#: Both legs to neutral and leg to leg in one breath: 121/121/0.
TRIPLE = re.compile(
    r"(?<![\w.,:/$#])(?P<first>1[0-3]\d(?:\.\d)?)\s?v?\s?[/,]\s?(?P<second>1[0-3]\d(?:\.\d)?)\s?v?\s?[/,]\s?"
    r"(?P<across>\d{1,3}(?:\.\d{1,2})?)\s?v?\b(?![./,]\d)"
)
#: "but no 240": what is missing is the voltage from leg to leg.
NO_SUPPLY = re.compile(
    r"\b(?:no|not|zero|without|missing|lost|loses?)\s(?:the\s|any\s)?2[0-4]0\s?(?:v(?:olts?|ac)?\b)?"
)
AT_BLOCK = re.compile(
    rf"{NOT_BEFORE}(?P<figure>\d{{3}}(?:\.\d)?)\s?(?:v(?:olts?|ac)?\b)?\s(?:is\s|are\s)?"
    r"(?:at|on|in|to|from)\s(?:the\s)?(?:terminal\s|range\s|wall\s|stove\s|power\s)?(?:block|outlet|receptacle|terminals?|plug)\b"
)
DROPS_TO = re.compile(
    rf"\b(?:drops?|dropped|dropping|falls?|fell|sags?|goes|went|down)\s(?:down\s)?to\s(?:about\s|only\s)?{NOT_BEFORE}"
    rf"(?P<figure>\d{{1,3}}(?:\.\d{{1,2}})?){NOT_AFTER}"
)

IDLE = re.compile(
    r"\bno[\s-]load|\bunloaded|\bidle\b|\boff[\s-]load|\bat\srest\b|\bopen\scircuit|\bwithout\s(?:a\s|any\s)?load|"
    r"\b(?:everything|all)\s(?:\w+\s){0,3}off\b|\bnothing\s(?:\w+\s){0,2}on\b|\ball\soff\b|"
    r"\b(?:elements?|burners?|oven|bake)\s(?:are\s|is\s|all\s)?off\b"
)
_LOADS = (
    r"controls?|switch(?:es)?|dials?|radiants?|rings?|infinites?|elements?|elems?|burners?|eyes?|coils?|bake|broil|oven|knobs?|units?|cooktop|surface|load|everything|all\sfour|"
    r"[lr][fr]|[fr][lr]|front|rear|back|left|right|it"
)
_ON = r"on|closed|called|calling|running|energi[sz]ed|heating|demanding|going|at\s(?:hi|high|max|full)|cranked|lit"
#: A load that is said to be on holds for the readings of the whole note.
SAID_ON = re.compile(
    rf"\bunder\s(?:full\s)?load|\bloaded\b|\bcalling\b|\benergi[sz]ed\b|\bon\s(?:hi|high|max)\b|\bload\sapplied|"
    rf"\b(?:{_LOADS})\s(?:(?:is|are|was|were|turned|switched|both|set|all|knob|burner|element|cranked)\s){{0,3}}(?:{_ON})\b|"
    r"\b(?:turn(?:ed|ing)?|switch(?:ed|ing)?|crank(?:ed|ing)?)\son\b|"
    r"\b(?:turn(?:ed|ing)?|set|crank(?:ed|ing)?|dial(?:ed)?|put)\s(?:\w+\s){1,4}(?:up|(?:to|on|at)\s(?:hi|high|max|full))\b"
)
_NAMED_LOAD = r"\bload\b|\bburners?\b|\belements?\b"
LOADED = re.compile(rf"{SAID_ON.pattern}|{_NAMED_LOAD}")
#: What before a load says that it is not on.
NOT_ON = re.compile(r"(?:\bno|\bnot|n't|\bnever|\bwithout|\bnothing|\bwon't|\bdont|\bdoesnt|\bwont)\s(?:\w+\s)?\Z")
MEASURES_A_PART = re.compile(
    r"\s(?:(?:element|is|was|reads?|reading|at|measures|measured|tests|shows)\s){0,3}"
    r"(?:\d[\d.,]*\s?k?\s?(?:ohms?|ω)|ol\b|open\b|infinite)"
)


def spelled(text: str) -> float:
    """``one twenty one`` is 121, ``two oh eight`` 208, ``a hundred and twenty`` 120."""
    words = [word for word in re.split(r"[\s-]+", text) if word not in ("hundred", "and", "oh")]
    total = 100.0 * _ONES.get(words[0], 1)
    return total + sum(_ONES.get(word, 0) + _TEENS.get(word, 0) + _TENS.get(word, 0) for word in words[1:])
