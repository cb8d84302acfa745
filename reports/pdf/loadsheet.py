"""A truck's load on paper: the sheet that goes along, and the pack for a day without power or network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from gear.pdf import pdf_from
from reports.wording.loadsheet import Paper

BLANK_LINES = 18  # for paper operation: one page of them
PACK_LINES, DAMAGE_LINES = 10, 6  # together one page of Letter


@dataclass(frozen=True)
class JobLines:
    """A job check as the sheet prints it: when and by whom, its verdict in words, what was entered, what was found.

    `lines` are (whether it speaks against the job, sentence), the worst first.
    """

    heading: str
    verdict: str
    words: str
    caution: str
    asked: tuple[tuple[str, str], ...]
    lines: tuple[tuple[bool, str], ...]


def load_sheet_pdf(told: Paper, *, job: JobLines | None = None, paper: str = "letter") -> bytes:
    """The load sheet as a tagged PDF on Letter or A4. Raises NotSet."""
    return pdf_from(load_sheet_html(told, job=job, paper=paper))


def load_sheet_html(told: Paper, *, job: JobLines | None = None, paper: str = "letter") -> str:
    """The sheet as one document that needs no server. `job` is the job check that speaks for the truck today."""
    return render_to_string(
        "reports/load_sheet_print.html", _context([told], paper, pack=False) | {"job": job}
    )


def fallback_pack_pdf(trucks: Sequence[Paper], *, paper: str = "letter") -> bytes:
    """The packs of some trucks, each beginning on a page of its own, as one PDF. Raises NotSet."""
    return pdf_from(fallback_pack_html(trucks, paper=paper))


def fallback_pack_html(trucks: Sequence[Paper], *, paper: str = "letter") -> str:
    return render_to_string("reports/load_sheet_print.html", _context(trucks, paper, pack=True))


def _context(trucks: Sequence[Paper], paper: str, *, pack: bool) -> dict[str, Any]:
    return {
        "trucks": trucks,
        "first": trucks[0],
        "pack": pack,
        "paper": paper,
        "demo": settings.DEMO,
        "site": settings.SITE_NAME,
        "blank": range(PACK_LINES if pack else BLANK_LINES),
        "damage": range(DAMAGE_LINES),
    }
