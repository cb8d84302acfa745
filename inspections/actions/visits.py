"""Visitors on paper: start a visit, keep each row at once, say what was seen. Nothing of it is in the book yet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from typing import Any, ClassVar
from uuid import UUID, uuid5

from django.db.models import Max
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import WORDS, Act, Refused, keeping_refusals
from gear.actions.committing import committed
from gear.ledger import site_zone
from gear.queries.people import qualification_on
from gear.rules.moments import local_day
from inspections.models import Visit, VisitRow
from inspections.rules import visiting
from inspections.rules.bounds import LOOKS


class VisitRefused(Refused):
    """What may not be done with a visit. `field` is the form field at fault, or empty."""

    SENTENCES: ClassVar[dict[str, tuple[str, Promise]]] = {
        "NO_ORGANISATION": ("organisation", _("Say whose crew it is.")),
        "GONE_ALREADY": ("expected_until", _("Choose a day from today on.")),
        "NO_SUCH_VISIT": ("", _("There is no visit %(number)s.")),
        "CLOSED": ("", _("%(number)s is over. Start another visit.")),
        "IN_BOOK": ("", _("This row is in the book already. Correct the records of its pieces instead.")),
        "NOTHING_KEPT": ("", _("Key the people and their gear first.")),
        "BAD_ROWS": ("", _("Nothing was checked in: %(count)s rows are not right yet. What is wrong stands by each.")),
        "NO_LOOK": ("", _("Say what was found: accept, clean, test or reject.")),
        "NOT_HERE": ("", _("%(item)s is not open on this visit.")),
        "EXPIRED": ("", WORDS["QUALIFICATION_EXPIRED"]),
    }  # fmt: skip

    def __init__(self, code: str, **values: Any) -> None:
        self.field, sentence = self.SENTENCES[code]
        self.code = code
        Exception.__init__(self, str(sentence) % values if values else str(sentence))


def today() -> date:
    """The day at the site."""
    return local_day(timezone.now(), site_zone())


def start(
    *, organisation: str, expected_until: date, coming_from: str = "", contact: str = "", phone: str = "", act: Act
) -> Visit:  # fmt: skip
    """Start a visit under the next number, at the depot of whoever takes it in. Raises NotAllowed or VisitRefused."""
    with keeping_refusals("take_in_others", organisation, act):
        permissions.check_can(act.by, "take_in_others")
        if not organisation.strip():
            raise VisitRefused("NO_ORGANISATION")
        if expected_until < today():
            raise VisitRefused("GONE_ALREADY")
        return committed(
            lambda: Visit.objects.create(
                number=visiting.next_number(Visit.objects.values_list("number", flat=True)),
                organisation=" ".join(organisation.split()),
                coming_from=coming_from,
                contact=contact,
                phone=phone,
                expected_until=expected_until,
                depot=act.by.depot if act.by else None,
                started_at=timezone.now(),
                started_by=act.by,
            )
        )


@contextmanager
def open_visit(number: str, act: Act, *, may: str = "take_in_others") -> Iterator[Visit]:
    """The visit, locked, while it lasts. Raises NotAllowed or VisitRefused."""
    with keeping_refusals(may, number, act):
        yield still_open(number, act, may=may)


def still_open(number: str, act: Act, *, may: str = "take_in_others") -> Visit:
    """The same inside the caller's transaction, for an act that keeps its refusals itself."""
    permissions.check_can(act.by, may)
    visit = Visit.objects.select_for_update().filter(number=number).first()
    if visit is None:
        raise VisitRefused("NO_SUCH_VISIT", number=number)
    if visit.closed_at:
        raise VisitRefused("CLOSED", number=number)
    return visit


def state_for_all(number: str, *, shared: Mapping[str, str], papers: Iterable[str], act: Act) -> Visit:
    """Keep what holds for every row that says nothing else, and which reports were seen here."""
    with open_visit(number, act) as visit:
        visit.shared = {name: shared[name] for name in visiting.SHARED if shared.get(name)}
        visit.papers = sorted({one.strip() for one in papers if one.strip()})
        visit.save(update_fields=["shared", "papers"])
        return visit


def keep_rows(number: str, rows: Sequence[Mapping[str, str]], *, act: Act) -> list[VisitRow]:
    """Keep rows as they were keyed or pasted, right or not; what is wrong with one is told beside it."""
    with open_visit(number, act) as visit:
        last = visit.rows.aggregate(last=Max("place"))["last"] or 0
        made = [
            VisitRow(
                id=uuid5(act.id, str(at)),
                visit=visit,
                place=last + at,
                cells={
                    name: cells[name][: visiting.LONGEST_CELL] for name in visiting.COLUMNS if cells.get(name)
                },
                kept_at=timezone.now(),
                kept_by=act.by,
            )
            for at, cells in enumerate(rows, start=1)
        ]
        return VisitRow.objects.bulk_create(made)


def strike(number: str, row: UUID, *, act: Act) -> None:
    """Take a row away again that is not in the book."""
    with open_visit(number, act) as visit:
        found = visit.rows.select_for_update().filter(pk=row).first()
        if found is None:
            return
        if found.pieces.exists():
            raise VisitRefused("IN_BOOK")
        found.delete()


def looked(number: str, looks: Mapping[UUID, str], *, act: Act) -> None:
    """Keep what an inspector of ours found on the pieces of some rows, in the inspector's name.

    A look is each row's own; nobody says "accepted" of all at once. Raises VisitRefused where the inspector's
    qualification has run out.
    """
    with open_visit(number, act, may="look") as visit:
        if not set(looks.values()) <= set(LOOKS):
            raise VisitRefused("NO_LOOK")
        if "accept" in looks.values() and act.by and qualification_on(act.by, today()) == "expired":
            raise VisitRefused("EXPIRED")
        for row in visit.rows.select_for_update().filter(pk__in=list(looks), look="").order_by("place"):
            row.look, row.looked_at, row.looked_by = looks[row.pk], timezone.now(), act.by
            row.save(update_fields=["look", "looked_at", "looked_by"])
