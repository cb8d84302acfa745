"""Which of the reasons and notes of an answer a page says. The API gives all of them."""

from __future__ import annotations

from collections.abc import Iterable

from gear import wording
from gear.rules.readiness import GOOD, Answer, Reason


def said_once(reasons: Iterable[Reason]) -> list[Reason]:
    """The reasons in their order, of those that read the same the first: two holds for one cause read as one."""
    return list({wording.sentence(one): one for one in reversed(list(reasons))}.values())[::-1]


def notes_of(answer: Answer) -> list[Reason]:
    """The notes of an answer. Nobody is told to inspect before use what must not be used."""
    return [one for one in answer.notes if answer.verdict == GOOD or one.code != "NOT_INSPECTED_TODAY"]
