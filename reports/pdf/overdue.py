"""The overdue report on paper."""

from __future__ import annotations

from django.template.loader import render_to_string

from gear.pdf import pdf_from
from reports.rules.overdue import OverdueReport
from reports.wording import Caps, tell
from reports.wording.beside import tell_beside
from reports.wording.weekly import Weekly

PAPERS = ("letter", "a4")
# A line costs some 20 ms and 130 KiB to set. Page one, what needs a phone call, comes before all else.
PHONE_LINES = 400
LINES = 500
LEAST = 50  # of each other list, whatever page one took


def caps_for(report: OverdueReport) -> Caps:
    """How many lines go on paper: of page one up to PHONE_LINES, then what falls due, then the rest."""
    phone = min(len(report.usable_now), PHONE_LINES)
    due = max(LEAST, LINES - phone - LEAST)
    off = max(LEAST, LINES - phone - min(len(report.due_soon), due))
    return Caps(PHONE_LINES, due, off)


def weekly_pdf(week: Weekly, *, paper: str = "letter") -> bytes:
    """The weekly report as a tagged PDF on one of PAPERS. Long lists are cut and say so. Raises NotSet.

    A part of `week` that is None is left out.
    """
    return pdf_from(weekly_html(week, paper=paper, caps=caps_for(week.report)))


def weekly_html(week: Weekly, *, paper: str = "letter", caps: Caps | None = None) -> str:
    """The report as one self-contained document that needs no server; whole unless `caps` says otherwise."""
    shown = {
        "told": tell(week.report, phones=week.phones, caps=caps or Caps()),
        "beside": tell_beside(week),
        "paper": paper,
        "lab": week.lab,
        "not_returned": week.old_pairs,
    }
    return render_to_string("reports/overdue_print.html", shown)
