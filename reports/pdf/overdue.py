"""The overdue report on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.template.loader import render_to_string

from gear.pdf import pdf_from
from inspections.queries import Awaited
from reports.rules.overdue import OverdueReport
from reports.wording import Caps, Phone, tell
from reports.wording.not_returned import Section
from reports.wording.weekly import Weekly

Lab = Sequence[Awaited] | None
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
    """The weekly report as a tagged PDF on one of PAPERS. Long lists are cut and say so. Raises NotSet."""
    return overdue_pdf(week.report, phones=week.phones, paper=paper, lab=week.lab, old_pairs=week.old_pairs)


def weekly_html(week: Weekly, *, paper: str = "letter") -> str:
    """The weekly report as one self-contained document, nothing cut."""
    return overdue_html(week.report, phones=week.phones, paper=paper, lab=week.lab, old_pairs=week.old_pairs)


def overdue_pdf(
    report: OverdueReport,
    *,
    phones: Mapping[str, Phone],
    paper: str = "letter",
    lab: Lab = None,
    old_pairs: Section | None = None,
) -> bytes:
    """The report as a tagged PDF on one of PAPERS. Long lists are cut and say so; counts are whole. Raises NotSet.

    `lab` are the shipments still open, `old_pairs` those not returned; None leaves that part out.
    """
    caps = caps_for(report)
    return pdf_from(overdue_html(report, phones=phones, paper=paper, caps=caps, lab=lab, old_pairs=old_pairs))


def overdue_html(
    report: OverdueReport,
    *,
    phones: Mapping[str, Phone],
    paper: str = "letter",
    caps: Caps | None = None,
    lab: Lab = None,
    old_pairs: Section | None = None,
) -> str:
    """The report as one self-contained document that needs no server; whole unless `caps` says otherwise."""
    told = tell(report, phones=phones, caps=caps or Caps())
    shown = {"told": told, "paper": paper, "lab": lab, "not_returned": old_pairs}
    return render_to_string("reports/overdue_print.html", shown)
