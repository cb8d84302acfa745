"""Reads that others may use: the answer about an item, now or as of a moment, and the whole book."""

from gear.queries.answers import (
    Scanned,
    Seen,
    answer,
    answers,
    answers_to,
    everything,
    scanned,
    seen,
    seen_many,
)
from gear.queries.fleet import fleet, fleets_then, judged, rules_for
from gear.queries.questions import (
    BadQuestion,
    Question,
    question,
    question_in,
    rules_today,
    service_trouble,
)
from gear.queries.told import as_json, as_text

__all__ = [
    "BadQuestion",
    "Question",
    "Scanned",
    "Seen",
    "answer",
    "answers",
    "answers_to",
    "as_json",
    "as_text",
    "service_trouble",
    "everything",
    "fleet",
    "fleets_then",
    "judged",
    "question",
    "question_in",
    "rules_for",
    "rules_today",
    "scanned",
    "seen",
    "seen_many",
]
