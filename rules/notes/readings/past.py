"""What was before: the age of the range, parts replaced at an earlier repair, a breaker switched off and on once.

These hold although they tell of former times.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from rules.notes.readings.figures import COUNT, number
from rules.notes.told import Told

NEW_YEARS, OLD_YEARS = 1.0, 10.0
MOST_YEARS = 60.0  # an older figure is somebody's or the house's age
_YEARS = {"y": 1.0, "m": 1 / 12, "w": 7 / 365, "d": 1 / 365}
_RANGE = r"(?:range|stove|oven|unit|appliance|cooktop|cooker|machine)"
_OLD = re.compile(
    rf"\b(?:{_RANGE}\b[^.;]{{0,40}}?\bit(?:'?s|\sis)|{_RANGE})(?:'s|\sis|\swas|\sitself\sis)?\s(?:only\s|about\s|around\s|approx\.?\s|maybe\s|over\s|almost\s|like\s|roughly\s|at\sleast\s|~\s?){{0,2}}"
    rf"(?P<count>{COUNT})\s?\+?\s?(?P<unit>y|m|w|d)(?:ea|on|ee|r|ay|/)?[a-z]*\s?(?:of\sage|old|o\b|/o\b)"
    rf"|\b(?P<count2>{COUNT})[\s-](?P<unit2>y|m)(?:ea|on|r)[a-z]*[\s-]old\s(?:\w+\s)?{_RANGE}\b"
    rf"|\b(?:bought|purchased|installed|got)\s(?:it|this|the\s{_RANGE}|(?:it\s)?new|this\s{_RANGE})\s(?:new\s|brand\snew\s)?(?:about\s|only\s|just\s|maybe\s){{0,2}}"
    rf"(?P<count3>{COUNT})\s(?P<unit3>y|m|w)(?:ea|on|ee|r)[a-z]*\sago\b"
    rf"|\bit(?:'?s|\sis)\s(?:only\s|about\s|around\s|over\s|almost\s|like\s){{0,2}}(?P<count4>{COUNT})\s(?P<unit4>y|m)(?:ea|on|r)[a-z]*[\s-]old\b"
    rf"|\b(?P<new>brand\snew\s{_RANGE}|{_RANGE}\sis\sbrand\snew)\b"
)
_OLD_TOO = re.compile(
    r"\b(?:house|home|building|apartment|place|breaker|panel|cord|plug|outlet|wiring|dog|cat|kid|pan)s?\b"
)
_PARTS = (
    ("surface_element", r"(?:surface|top|burner|coil)\s(?:element|unit|coil)|coil|burner"),
    ("infinite_switch", r"(?:infinite|burner|surface)\s(?:switch|control)(?:es)?"),
    ("oven_element", r"(?:bake|broil|oven|heating|lower|upper|baking|bottom)\s(?:heating\s)?elements?"),
    ("oven_sensor", r"(?:oven\s|temp(?:erature)?\s)?(?:sensor|probe|thermistor)"),
    ("control_board", r"(?:control|main|oven|clock|relay)\s(?:board|panel)|board|(?:clock|oven)\scontrol|erc|eoc"),
    ("door_or_lock", r"(?:oven\s)?door(?:\s(?:gasket|seal|latch|lock|hinges?))?|door\slock\smotor|latch\smotor"),
    ("terminal_block", r"terminal\sblock"),
)
_PART = "|".join(f"(?P<{name}{{n}}>{words})" for name, words in _PARTS)
_DONE = r"(?:replaced|changed(?:\sout)?|swapped(?:\sout)?|renewed)"
_WAS = r"(?:was\s|were\s|has\sbeen\s|had\sbeen\s|have\sbeen\s|got\s|is\s|been\s|already\s|just\s|recently\s|also\s)"
_REPLACED = re.compile(
    rf"\b(?:{_PART.format(n=1)})\s{_WAS}{{0,3}}{_DONE}\b"
    rf"|\b{_DONE}\s(?:the\s|a\s|an\s|my\s|our\s|its\s|both\s){{0,2}}(?:{_PART.format(n=2)})\b"
    rf"|\b(?:put|installed|had|fitted)\s(?:in\s)?(?:a\s)?(?:new|another)\s(?:{_PART.format(n=3)})\b"
)
_NOT_DONE = re.compile(
    r"(?:\b(?:not|never|no|needs?|want\w*|should|must|could|will|would|to|be|get|if|without|why|quote\w*|cost|price)|n't)\s(?:\w+\s){0,2}\Z"
)
_CYCLED = re.compile(
    r"\b(?:(?:turned|flipped|switched|shut|threw|cycled|reset|flip|turn)\s(?:off\s)?(?:the\s|our\s|my\s|its\s)?(?:range\s|stove\s|main\s)?breaker|breaker\s(?:was\s)?(?:reset|cycled|flipped|off\sand)|(?:had|turned|shut|cut|killed|switched)\s(?:the\s)?power\soff)\b"
    r"(?:\s?,?\s?(?:off|on|back|and|for|a|one|two|minute|minutes|min|then|once|again|it|the|few)\b){0,9}"
)
_RESET = re.compile(
    r"\bbreaker\s(?:had\s|was\s|has\s|did\s){0,2}(?:tripped|trip|off|popped|blown|thrown)\b[\s,.;-]{1,3}(?:so\s|and\s|then\s|i\s|we\s|he\s|she\s|they\s){0,3}"
    r"(?:reset|flipped|turned|switched|put|pushed)\s(?:it|that|the\sbreaker)(?:\sback)?(?:\son)?\b(?:\s(?:once|again|yesterday|today)){0,2}"
)
_NO_HELP = re.compile(
    r"[\s,.;:-]{1,3}(?:but\s|and\s|that\s|it\s|still\s|which\s){0,3}(?:no\s(?:change|help|difference|luck|effect|good)|nothing\schanged|still\s(?:dead|out|nothing|no)|the\ssame|same(?:\sthing)?\b|(?:did\snot|didn't|didnt|doesn't|doesnt)\s(?:help|work|fix|change|do\sanything|make\sa\sdifference))"
)
_HELPED = re.compile(
    r"[\s,.;:-]{1,3}(?:and\s|but\s|that\s|now\s|then\s|it\s|everything\s|all\s|is\s){0,5}(?:(?:back\b|works?|worked|working|came\sback|comes\sback|(?:is\s)?back\son|fixed)(?:\s(?:again|fine|now|it))?)\b"
)


def age(plain: str, start: int, end: int) -> Iterator[Told]:
    """How old the range is said to be. Ages of people, houses and cords are left alone."""
    found = _OLD.search(plain, start, end)
    if found is None:
        return
    if found["new"]:
        yield Told("age", "new", None, "said", found.start(), found.end())
        return
    if found["count4"] and _OLD_TOO.search(plain, start, end):
        return  # the house, the breaker, the child
    count = found["count"] or found["count2"] or found["count3"] or found["count4"]
    years = number(count) * _YEARS[found["unit"] or found["unit2"] or found["unit3"] or found["unit4"]]
    if years <= MOST_YEARS:
        value = "new" if years < NEW_YEARS else "old" if years > OLD_YEARS else "middle"
        yield Told("age", value, None, "said", found.start(), found.end())


def replaced_parts(plain: str, start: int, end: int) -> Iterator[Told]:
    """Parts said to have been replaced; not those that should be."""
    for found in _REPLACED.finditer(plain, start, end):
        if _NOT_DONE.search(plain[max(start, found.start() - 30) : found.start()]):
            continue
        part = next(name for name, words in found.groupdict().items() if words)
        yield Told("replaced_part", part[:-1], None, "said", found.start(), found.end())


def breaker_cycled(plain: str, start: int, end: int) -> Iterator[Told]:
    """What one switching off and on of the breaker changed, or one reset. The answer may stand in the next sentence."""
    for found in _RESET.finditer(plain, start, end):
        for value, pattern in (("no_change", _NO_HELP), ("back", _HELPED)):
            after = pattern.match(plain, found.end())
            if after:
                yield Told("breaker.after_reset", value, None, "said", found.start(), found.end())
                return
    for found in _CYCLED.finditer(plain, start, end):
        for value, pattern in (("same", _NO_HELP), ("helped", _HELPED)):
            after = pattern.match(plain, found.end())
            if after:
                yield Told("power_cycle", value, None, "said", found.start(), after.end())
                break
