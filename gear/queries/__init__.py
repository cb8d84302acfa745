"""Reads that others may use: the answer about an item, now or as of a moment, and the whole book."""

from gear.queries.answers import (
    Question,
    Scanned,
    answer,
    answers,
    clock_trouble,
    fleet,
    question,
    rules_today,
    scanned,
)

__all__ = [
    "Question",
    "Scanned",
    "answer",
    "answers",
    "clock_trouble",
    "fleet",
    "question",
    "rules_today",
    "scanned",
]
