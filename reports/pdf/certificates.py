"""Test certificates on paper: one test in full, or many as a table, with what the offline check needs attached."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.template.loader import render_to_string

from gear import wording
from gear.pdf import Attachment, pdf_from
from reports.rules.certificate_check import ATTACHMENT
from reports.wording.certificates import CONFIRM_SENTENCE, PAST_SENTENCE, RULE_SENTENCE, Told


@dataclass(frozen=True)
class Heading:
    """What stands on every page: when it was made and where, of which site, whether it is a demonstration."""

    made: str
    zone: str
    site_name: str
    check_address: str
    demo: bool = False


@dataclass(frozen=True)
class Batch:
    """Certificates and records of many tests: which they are, and what was asked for and has none."""

    title: str
    certified: Sequence[Told]
    others: Sequence[Told]
    totals: Sequence[tuple[str, int]]
    untested: Sequence[str] = ()
    problems: Sequence[str] = ()
    seals: str = ""
    figures: Sequence[Any] = field(default_factory=tuple)


def certificate_pdf(
    told: Told, *, heading: Heading, proof: Mapping[str, str], attached: bytes, paper: str = "letter"
) -> bytes:
    """One test in full. `proof` are the hashes and the seal, by name. Raises NotSet."""
    return _set("reports/certificate_print.html", {"told": told, "proof": proof}, heading, attached, paper)


def batch_pdf(batch: Batch, *, heading: Heading, attached: bytes, paper: str = "letter") -> bytes:
    """Many tests, a line each. Raises NotSet."""
    return _set("reports/certificates_print.html", {"batch": batch}, heading, attached, paper)


def _set(template: str, context: dict[str, Any], heading: Heading, attached: bytes, paper: str) -> bytes:
    context |= {
        "heading": heading,
        "paper": paper,
        "cautions": wording.CAUTIONS,
        "foot": _in_style(str(PAST_SENTENCE)),
        "rule": RULE_SENTENCE,
        "confirm": CONFIRM_SENTENCE,
    }
    return pdf_from(render_to_string(template, context), attachment=Attachment(ATTACHMENT, attached))


def _in_style(text: str) -> str:
    """Text as a string of a style sheet, every sign but letters, figures and blanks by its number (CSS Syntax 4.3.7).

    The foot stands there because an element that runs from page to page is left out of a first page that is full.
    """
    return "".join(sign if sign.isalnum() or sign == " " else f"\\{ord(sign):x} " for sign in text)
