"""Red tags for rejected pieces, and the certificate of their destruction, on paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.template.loader import render_to_string

from gear.pdf.setting import pdf_from
from gear.queries.rejects import Batch, Reject

PAPERS = ("letter", "a4")


@dataclass(frozen=True)
class Heading:
    """What every page says of itself: the moment it was made, the zone, the site, and whether it is a demo."""

    made: str
    zone: str
    site_name: str
    demo: bool


def red_tags_html(rejects: Sequence[Reject], *, heading: Heading, paper: str = "letter") -> str:
    """Tags, four to a sheet with lines to cut along, as one self-contained document."""
    sheets = [rejects[place : place + 4] for place in range(0, len(rejects), 4)]
    return render_to_string(
        "gear/red_tags_print.html", {"sheets": sheets, "heading": heading, "paper": paper}
    )


def red_tags_pdf(rejects: Sequence[Reject], *, heading: Heading, paper: str = "letter") -> bytes:
    """The same as a tagged PDF on one of PAPERS. Raises NotSet."""
    return pdf_from(red_tags_html(rejects, heading=heading, paper=paper))


def certificate_html(batch: Batch, *, destroyed_on: str, heading: Heading, paper: str = "letter") -> str:
    """The certificate of one batch as one self-contained document."""
    page = {"batch": batch, "destroyed_on": destroyed_on, "heading": heading, "paper": paper}
    return render_to_string("gear/destruction_print.html", page)


def certificate_pdf(batch: Batch, *, destroyed_on: str, heading: Heading, paper: str = "letter") -> bytes:
    """The same as a tagged PDF on one of PAPERS. Raises NotSet."""
    return pdf_from(certificate_html(batch, destroyed_on=destroyed_on, heading=heading, paper=paper))
