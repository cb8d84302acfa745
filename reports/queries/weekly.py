"""The weekly report: the overdue report and all that a supervisor reads beside it, gathered once."""

from __future__ import annotations

from gear.queries import Question
from gear.queries.whereabouts import phones
from reports.queries.overdue import lab_shipments, overdue_report
from reports.queries.replaced import old_pairs
from reports.rules.overdue import Scope
from reports.wording.weekly import Weekly


def weekly(asked: Question, *, scope: Scope) -> Weekly:
    """The weekly report as of a question, in a number of queries that does not grow with the book.

    Raises DoesNotReconcile.
    """
    report = overdue_report(asked, scope=scope)
    return Weekly(report, phones(), lab_shipments(report.heading), old_pairs(report.heading))
