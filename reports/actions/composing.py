"""What a weekly report is made of: its figures, the text of the mail, and the files that go with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _

from gear.queries import Question
from reports import queries
from reports.pdf import NotSet, weekly_pdf
from reports.rules.overdue import OverdueReport, Scope
from reports.rules.weeks import Week
from reports.spreadsheets import csv_lines
from reports.wording import Caps, Weekly, tell
from reports.wording.beside import tell_beside

BODY = Caps(60, 0, 0)  # a mail is read on a telephone; the PDF has the rest


@dataclass(frozen=True)
class Composed:
    """One report, ready to be kept and sent. `files` are the bytes by kind; without "pdf" it could not be set."""

    subject: str
    totals: Mapping[str, int | None]
    faulty: tuple[str, ...]
    rule_pack: str
    files: Mapping[str, bytes]


def compose(asked: Question, *, scope: Scope, week: Week, without_pdf: bool = False) -> Composed:
    """The report as of a question. Raises DoesNotReconcile, and NotSet unless it may go `without_pdf`."""
    made = queries.weekly(asked, scope=scope)
    report = made.report
    try:
        pdf = weekly_pdf(made)
    except NotSet:
        if not without_pdf:
            raise
        pdf = b""
    text = _body(made, week=week, has_pdf=bool(pdf))
    files = {"pdf": pdf, "csv": "".join(csv_lines(report)).encode(), "txt": text.encode()}
    return Composed(
        subject=_subject(report, week),
        totals=_totals(report),
        faulty=report.all_faulty,
        rule_pack=report.heading.rule_pack,
        files={kind: content for kind, content in files.items() if content},
    )


def week_address() -> str:
    """Where the week is worked on, or the report where there is no such page."""
    for name in ("week", "overdue_report"):
        try:
            return f"{settings.BASE_URL}{reverse(name)}"
        except NoReverseMatch:
            continue
    return settings.BASE_URL


def _subject(report: OverdueReport, week: Week) -> str:
    told = _("Week %(week)s: %(overdue)d overdue and %(blocked)d stopped in people's hands") % {
        "week": week.label,
        "overdue": report.counts.overdue,
        "blocked": report.counts.blocked,
    }
    demo = "DEMO · " if settings.DEMO else ""
    depot = f" · {report.heading.scope.name}" if report.heading.scope.kind == "depot" else ""
    return f"{demo}{told}{depot}"[:200]


def _totals(report: OverdueReport) -> dict[str, int | None]:
    counts = report.counts
    return {
        "overdue": counts.overdue,
        "blocked": counts.blocked,
        "unknown_in_hands": counts.unknown_in_hands,
        "lost": counts.lost,
        "unknown": counts.unknown,
        "oldest_days_over": counts.oldest_days_over,
        "due_soon": len(report.due_soon),
        "items_in_book": report.totals["items_in_book"],
    }


def _body(made: Weekly, *, week: Week, has_pdf: bool) -> str:
    shown: dict[str, Any] = {
        "told": tell(made.report, phones=made.phones, caps=BODY),
        "beside": tell_beside(made),
        "week": week.label,
        "has_pdf": has_pdf,
        "address": week_address(),
        "archive": f"{settings.BASE_URL}{reverse('weekly_reports')}",
    }
    return render_to_string("reports/weekly_mail.txt", shown)
