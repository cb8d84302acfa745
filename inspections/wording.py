"""Words for what the book has against a line of a test book, or remarks beside it."""

from __future__ import annotations

from dataclasses import replace

from django.utils.translation import gettext_lazy

from gear import wording
from gear.rules.tables import Problem

LINE_SENTENCES = {
    "UNKNOWN_ITEM": gettext_lazy(
        "{field} {shown} is not in the gear book. Check the number; a test never makes an item."
    ),
    "OTHER_DEPOT": gettext_lazy("{field} {shown} belongs to {other}, outside your depot."),
    "OTHER_TEST": gettext_lazy(
        "{field} {shown} already holds a test of this item on this day that says something else. "
        "Correct the recorded test instead."
    ),
    "NO_RULES": gettext_lazy(
        "{field} {shown}: the rules of that day cannot be relied upon, so the test cannot be judged. "
        "Ask the administrator."
    ),
    "TEST_FAILED": gettext_lazy("The item is rejected: {why}."),
    "TEST_VOID": gettext_lazy("It clears nothing: {why}."),
    "TEST_UNJUDGED": gettext_lazy("No verdict: {why}."),
    "LAB_DIFFERS": gettext_lazy("The lab says {lab}, the readings say {ours}; the readings count."),
    "NOT_CALIBRATED": gettext_lazy("{shown}: calibration not on file."),
    "BREAKDOWN_NOT_STATED": gettext_lazy(
        "Breakdown is not stated; the voltage held for the full time counts."
    ),
    "ITEM_DESTROYED": gettext_lazy("The item is recorded as destroyed; the test is kept as history."),
}


def line_problem(problem: Problem) -> str:
    """One sentence for a problem or note on a line of a test book."""
    if "why" in problem.values:
        why = ", ".join(wording.test_code({"code": code}) for code in problem.values["why"])
        problem = replace(problem, values={**problem.values, "why": why})
    return wording.line_problem(problem, LINE_SENTENCES)
