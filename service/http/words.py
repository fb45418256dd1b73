"""What the fields of an answer mean, for the OpenAPI document. A test holds it complete."""

from __future__ import annotations

from typing import Any

WORDS: dict[str, dict[str, str]] = {
    "Triage": {
        "decision_id": "The same question under the same book has the same id.",
        "book": "Version of the book: a content hash.",
        "scope": "Whether this is an electric range at all.",
        "appliance": "The configuration the answer is for.",
        "understood": "Every fact used; other parts refer to it by its number, from 0.",
        "unread": "What of the note nobody could read, and facts that do not fit the appliance.",
        "contradictions": "Facts that contradict one another.",
        "stop": "A safety stop, or null. It goes before everything else: say it first, ask nothing else.",
        "conclusions": "Ranked faults, likeliest first.",
        "none_of_these": "Probability that it is none of the faults the book knows.",
        "next_step": "The one thing to do now, with its reason.",
        "repair_order": "Repairs in the order that costs least, by probability over cost.",
        "next_tests": "Questions and measurements by what they tell a minute, those allowed for the role only.",
        "visit": "Whether somebody must go, who, with what.",
        "cautions": "To be shown with the answer.",
        "nearly": "explain full: rules that lack one premise.",
    },
    "Scope": {"in_scope": "False: nothing below is diagnosed.", "reason": "Why not, in words to say; else null."},
    "ApplianceUsed": {
        "appliance": "Its name.",
        "title": "In words.",
        "assumed": "True if neither the request nor the note named one.",
    },
    "Fact": {
        "fact": "Its name in the vocabulary.",
        "where": "A unit, all, others, unnamed, or null.",
        "between": "Of a reading: the meter points.",
        "while": "Of a reading: idle or loaded.",
        "value": "A word of the vocabulary, a number in unit, or OL for an open line.",
        "unit": "Of a number.",
        "source": "Who saw it: caller, desk, technician, note (read from the text) or rule (derived).",
        "certainty": "said, hedged or measured.",
        "span": "Of a fact read from the note: from and to, in characters.",
        "text": "Of a fact read from the note: the words.",
    },
    "Contradiction": {"facts": "Their numbers in understood.", "say": "What contradicts what, and which one counts."},
    "Stop": {
        "signal": "DANGER, WARNING, CAUTION or NOTICE.",
        "say": "What to say now.",
        "because": "Why, a sentence for each reason.",
        "refer_to": "Who must come: utility, electrician, appliance_technician or customer.",
    },
    "Conclusion": {
        "fault": "Id of the fault.",
        "where": "Its unit, or null.",
        "title": "In words.",
        "probability": "From 0 to 1; all conclusions and none_of_these make 1 with those too small to be listed.",
        "standing": "established, likely, possible or ruled_out. Only a technician's measurement establishes.",
        "because": "Reasons. Empty with explain off.",
        "parts": "Parts a repair may need.",
        "not_told_apart": "Faults that what is known cannot separate from this one.",
        "also": "The other fault, where the conclusion is that two are there at once.",
        "bits": "explain full: how far each fact speaks for it.",
    },
    "Reason": {
        "rule": "Id of the rule, or circuit-model.",
        "text": "The sentence.",
        "facts": "Numbers in understood it rests on.",
    },
    "FactBits": {"fact": "Number in understood.", "bits": "Against the average suspect; below 0 speaks against it."},
    "TestAdvice": {
        "test": "Id of the test.",
        "where": "The unit it is about, or null.",
        "reads": "The fact it gives.",
        "ask": "What to ask or do.",
        "why": "What it would tell.",
        "who": "caller, desk or technician.",
        "energised": "True: a live test.",
        "from_memory": "True: a stop stands; only what is remembered, nothing is tried or touched.",
        "minutes": "With its preparation, min.",
        "tools": "What is needed.",
        "cautions": "To be shown with it.",
        "gain_bits": "What it is expected to tell.",
        "saves_minutes": "What it saves of the expected cost of repair, its own price taken off; null if not weighed.",
        "outcomes": "What may be found, and where it leads.",
    },
    "Outcome": {
        "value": "A word of the fact.",
        "probability": "From 0 to 1.",
        "leads_to": "Faults it would leave in front.",
    },
    "Visit": {
        "needed": "Null while too little is known.",
        "urgency": "now, soon, routine or none.",
        "skill": "appliance_technician, electrician, utility or customer.",
        "minutes": "On site, from and to.",
        "load_parts": "For the van: the load that mends most at the first visit.",
        "no_room_for": "Parts worth taking that do not fit the van's limits.",
        "first_visit_fix": "Chance that the load mends it at the first visit, from 0 to 1.",
        "tell_customer": "Sentences for the customer.",
    },
    "LoadPart": {"part": "Its name in the book.", "probability_used": "From 0 to 1."},
    "FaultAt": {"fault": "Id of the fault.", "where": "Its unit, or null."},
    "NextStep": {
        "do": "ask, measure, send, settle, repair, refer, listen, stop or decline.",
        "who": "Who does it, or who is to go; null if nobody.",
        "test": "Of ask and measure: the test's name.",
        "where": "The unit, or null.",
        "because": "Why, in a sentence.",
    },
    "RepairStep": {
        "faults": "What it mends, likeliest first.",
        "where": "The unit, or null.",
        "parts": "Parts it takes.",
        "probability": "That it mends it, from 0 to 1.",
        "minutes": "Hands on, without travel.",
        "cost": "Minutes and parts together, in minutes.",
        "skill": "Who may do it.",
    },
    "NearMiss": {"rule": "Id of the rule.", "missing": "The premise that is missing, in words."},
    "Unit": {"where": "Its place, such as left_front.", "watts": "Of its rings, one to three, W at rated_volts."},
    "ApplianceGiven": {
        "appliance": "A name for it.",
        "title": "In words.",
        "cooktop": "Kind of cooktop.",
        "units": "Surface units.",
        "oven": "Whether it has one.",
        "bake_watts": "W at rated_volts.",
        "broil_watts": "W at rated_volts.",
        "cutout": "What the oven's thermal cut-out breaks.",
        "convection_watts": "W; 0: none.",
        "self_clean": "With a door-lock motor.",
        "cooling_fan": "Whether a fan cools the oven's back.",
        "second_oven_watts": "W of a double oven's other cavity; 0: none.",
        "breaker_amps": "Rating of its breaker, A.",
        "range_fuses": "Whether the surface units have fuses of their own.",
        "supply": "Volts of the house.",
        "cord": "How it is connected.",
        "rated_volts": "V between the legs, on the plate.",
        "sensor_curve": "Of the oven sensor.",
    },
    "ExpectedRequest": {
        "quantity": "What is measured.",
        "meter": "The meter's range; a low-impedance one shows no ghost.",
    },
    "BatchRow": {"answer": "As a single call would get."},
    "Expected": {"rows": "The sound appliance first, then each suspect."},
    "Judged": {"verdicts": "One for each value judged."},
    "Alive": {"alive": "True."},
    "Ready": {"ready": "True."},
    "Case": {
        "id": "To be guessed by nobody.",
        "reference": "Of the ticket, or null.",
        "state": "open or closed.",
        "version": "The number of its last entry; the ETag is made of it.",
        "opened_at": "UTC.",
        "changed_at": "UTC.",
        "erased_at": "When what persons wrote was taken out of it; else null.",
    },
    "CaseList": {
        "items": "Newest first.",
        "next": "Address of the next page; null on the last.",
    },
    "CaseTurn": {
        "case": "As it is now.",
        "role": "Who speaks.",
        "message": "Number of the message that is answered; null where nothing was said.",
        "kind": "What the message was; look where nothing was said.",
        "facts": "Facts of this message; of all where nothing was said.",
        "unread": "What of the message nobody could read.",
        "reply": "What to say: a stop first, what was understood, what it means, the next question and why.",
        "asks": "The question that is open now, or null.",
        "outcome": "What it was in the end, or null.",
        "answer": "The whole answer, as a triage gives it.",
    },
    "CaseFact": {
        "number": "By which it is struck.",
        "fact": "Null where only a unit was named.",
        "words": "Read back in plain words.",
        "answers": "Whether it answers the question that was open.",
        "fate": "stands, replaced, struck or does_not_fit.",
        "replaced": "Numbers of earlier facts that it replaced.",
    },
    "OpenQuestion": {
        "test": "Id of the test.",
        "reads": "The fact it gives.",
        "ask": "In words.",
        "why": "What it would tell.",
        "who": "caller, desk or technician.",
    },
    "CaseOutcome": {
        "fixed": "Whether the range works as it should.",
        "fault": "Id of the fault, or null.",
        "where": "Its unit, or null.",
        "found": "In words, or null.",
        "parts": "Parts put in.",
        "minutes": "On site, min, or null.",
        "call_back": "Whether the customer had to call again.",
    },
    "HeardFact": {"number": "By which it is struck.", "fact": "As it was read."},
    "CaseEntry": {
        "number": "From 1, without a gap.",
        "kind": "opened, message, role, strike, outcome, reopened or erased.",
        "at": "UTC.",
        "message": "Of a message, or a message struck: its number.",
        "role": "Who spoke, or speaks from now on.",
        "text": "What was said; null once it is erased.",
        "heard": "What the message was, as `kind` of a turn.",
        "facts": "What was read from it.",
        "struck": "Numbers of the facts unsaid.",
        "reply": "What was replied; null once it is erased.",
        "outcome": "What was recorded.",
    },
    "Page": {"items": "In the book's order."},
    "Item": {"item": "The entry."},
}

#: An id of each family, to be tried.
IDS = {
    "vocabulary": "display",
    "appliances": "radiant_range",
    "faults": "supply.leg_l2_open",
    "tests": "verify_dead",
    "rules": "one-leg-lost",
    "problems": "unusable-input",
}

#: Parts of an address that are no entry's id.
IN_PATH: dict[str, dict[str, str]] = {
    "case": {"description": "The case's id.", "example": "nY1x3cS0mExAmPl3-cAsE_1d"},
    "fact": {"description": "The fact's number in the case: its message's, and its place in it.", "example": "0.0"},
    "message": {"description": "The message's number in the case, from 0.", "example": "0"},
}

#: Fields of answers that are not in every one.
SOMETIMES = {
    "Error": ("pointer", "parameter", "header"),
    "Problem": ("instance", "errors"),
    "BatchRow": ("line", "id", "answer", "error", "end", "lines", "ok", "failed", "book"),
}


WORDS["CaseWhole"] = {**WORDS["CaseTurn"], "history": "Every entry since it was opened."}


def put_in(schemas: dict[str, Any], requests: set[str]) -> None:
    """Descriptions into all schemas; into those of answers also which fields are always there.

    An answer may get more fields in time, so its schema is left open; a request's is closed.
    """
    for name, schema in schemas.items():
        properties = schema.get("properties", {})
        for field, told in WORDS.get(name, {}).items():
            if field in properties:
                properties[field] = _described(properties[field], told)
        for kind in ("Page", "Item"):
            if name.endswith(kind):
                for field, told in WORDS[kind].items():
                    if field in properties:
                        properties[field] = _described(properties[field], told)
        if name not in requests and properties:
            schema.pop("additionalProperties", None)
            schema["required"] = [field for field in properties if field not in SOMETIMES.get(name, ())]
            if not schema["required"]:
                del schema["required"]


def _described(told: dict[str, Any], text: str) -> dict[str, Any]:
    return {**told, "description": told.get("description", text)}
