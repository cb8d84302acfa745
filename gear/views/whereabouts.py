"""A list of pieces by crew and holder, in words: what could be used now first, with whom to call."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from gear.forms.batches import HoldForm
from gear.models import HOLDER_NAMES
from gear.pdf import pdf_from
from gear.queries import Question, described
from gear.queries.whereabouts import Phone, phones
from gear.rules.whereabouts import CrewGroup, Found, HolderGroup, by_crew

PAPERS = ("letter", "a4")
ON_PAGE = 500  # pieces; counts are whole all the same
ON_PAPER = 400
About = Callable[[Any], str]


@dataclass(frozen=True)
class Row:
    """One piece in words: `why` is the worst reason as a sentence, `short` all of them in a few words each.

    `about` is what this list says of it besides; empty where it says nothing.
    """

    item_no: str
    what: str
    marks: str
    verdict: str
    words: str
    why: str
    short: str
    about: str


@dataclass(frozen=True)
class Holding:
    """What one holder has."""

    name: str
    count: int
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Crew:
    """What one crew's holders have, and whom to call about it."""

    title: str
    count: str
    phone: Phone | None
    holders: tuple[Holding, ...]


@dataclass(frozen=True)
class Listing:
    """The whole list: what is usable now, what lies elsewhere, how many of each, and what was cut off."""

    usable: tuple[Crew, ...]
    elsewhere: tuple[Crew, ...]
    total: int
    usable_count: int
    elsewhere_count: int
    on_hold: int
    cut: str = ""


def listing(pieces: Sequence[Found], *, about: About = str, most: int | None = ON_PAGE) -> Listing:
    """The pieces in words. Every crew and holder is named with its count; of pieces at most `most` are listed, what
    could be used now first."""
    usable = [one for one in pieces if one.usable]
    elsewhere = [one for one in pieces if not one.usable]
    telling = _Telling(about, phones(), len(pieces) if most is None else most)
    cut = ""
    if telling.room < len(pieces):
        cut = _(
            "Only %(shown)d of %(count)d pieces are listed one by one; every holder is named, and all are counted."
        )
        cut %= {"shown": telling.room, "count": len(pieces)}
    return Listing(
        tuple(telling.crew(group, call=True) for group in by_crew(usable)),
        tuple(telling.crew(group, call=False) for group in by_crew(elsewhere)),
        len(pieces),
        len(usable),
        len(elsewhere),
        sum(bool(one.facts.holds) for one in pieces),
        cut,
    )


@dataclass
class _Telling:
    """Puts groups into words as long as there is `room` for pieces."""

    about: About
    calls: dict[str, Phone]
    room: int

    def crew(self, group: CrewGroup, *, call: bool) -> Crew:
        title = ", ".join(part for part in (group.place.crew, group.place.depot) if part)
        return Crew(
            title or _("No crew or depot on record"),
            pieces_word(group.count),
            self.calls.get(group.place.crew or "", Phone()) if call else None,
            tuple(self.holder(holder) for holder in group.holders),
        )

    def holder(self, group: HolderGroup) -> Holding:
        rows = tuple(_row(one, self.about) for one in group.pieces[: self.room])
        self.room -= len(rows)
        return Holding(holder_word(group.kind, group.name), len(group.pieces), rows)


def holder_word(kind: str, name: str) -> str:
    """`Dev` for a person, `Truck T-07` for what is no person."""
    if not name:
        return _("Where it is, the record does not say")
    word = str(HOLDER_NAMES.get(kind, kind))
    plainly = kind == "person" or name.casefold().startswith(word.casefold())
    return name if plainly else f"{word} {name}"


def _row(piece: Found, about: About) -> Row:
    identity, answer = piece.facts.identity, piece.answer
    marks = (
        (_("Serial %s"), identity.get("serial")),
        (_("Lot %s"), identity.get("lot")),
        (_("Made %s"), identity.get("made_on")),
    )
    return Row(
        answer.item_no,
        described.heading(identity),
        ", ".join(words % value for words, value in marks if value),
        answer.verdict,
        wording.verdict(answer),
        wording.sentence(answer.reasons[0]) if answer.reasons else "",
        "; ".join(dict.fromkeys(wording.short(reason) for reason in answer.reasons)),
        "" if piece.about is None else about(piece.about),
    )


def pieces_word(count: int) -> str:
    """`1 piece`, `12 pieces`."""
    return ngettext("%d piece", "%d pieces", count) % count


def mark_of(pieces: Iterable[Found]) -> str:
    """A short mark of which pieces a list holds, by which a list that changed meanwhile is told."""
    numbers = "\n".join(sorted(one.item_no for one in pieces))
    return hashlib.sha256(numbers.encode()).hexdigest()[:32]


def hold_form(pieces: Sequence[Found]) -> HoldForm:
    """The form that holds exactly these pieces."""
    return HoldForm(initial={"id": uuid4(), "shown": mark_of(pieces)})


def moment_word(asked: Question) -> str:
    """`14 SEP 2026, 05:40`: when a list was true."""
    local = timezone.localtime(asked.asked_at)
    return f"{wording.day(local.date())}, {date_format(local, 'H:i')}"


def paper_of(request: HttpRequest) -> str:
    """The paper asked for, Letter where none or an unknown one is."""
    asked = request.GET.get("paper", "")
    return asked if asked in PAPERS else PAPERS[0]


def on_paper(
    pieces: Sequence[Found],
    asked: Question,
    *,
    title: str,
    lead: Sequence[str],
    paper: str,
    about: About = str,
    about_title: str = "",
) -> bytes:
    """The list as a PDF with a box to tick for each piece. Raises NotSet."""
    values = {
        "title": title,
        "lead": lead,
        "list": listing(pieces, about=about, most=ON_PAPER),
        "about_title": about_title,
        "as_of": moment_word(asked),
        "zone": settings.TIME_ZONE,
        "demo": settings.DEMO,
        "paper": paper,
    }
    return pdf_from(render_to_string("gear/whereabouts_print.html", values))


def file_answer(content: bytes, name: str) -> HttpResponse:
    """A PDF to look at, named; its name says DEMO where the data is invented."""
    demo = "DEMO-" if settings.DEMO else ""
    headers = {"Content-Disposition": f'inline; filename="{demo}{name}.pdf"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)
