"""Certificates of tests on record: which stand, which were replaced or withdrawn, and which belong together."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from uuid import UUID

from django.db.models import F, Q, QuerySet, Window
from django.db.models.functions import RowNumber

from gear.models import Entry, Holder, Item
from gear.queries.proofs import Proofs, Record, proofs_of, records_of
from inspections.models import ElectricalTest
from inspections.queries import stated_test, tests_in_force
from reports.rules import certificate_check
from reports.rules.certificate import (
    Certificate,
    NotCertified,
    Standing,
    Typed,
    attachment,
    certificate,
    same_code,
    typed_number,
)

log = logging.getLogger(__name__)

MOST = 500  # certificates on one page or one paper
NEWEST_FIRST = ("-tested_on", "item__item_no", "-entry__recorded_at", "pk")
ITEM_ORDER = ("item__item_no", "-tested_on", "pk")


@dataclass(frozen=True)
class Issued:
    """A certificate as it can be printed now. `of` is the entry of the test, which its corrections name.

    Where no certificate can be made, `certificate` is None and `problem` says why in a few words.
    """

    item_no: str
    entry: Entry
    of: UUID
    certificate: Certificate | None = None
    standing: Standing = Standing()
    problem: str = ""


def issued_for(entries: Sequence[Entry]) -> list[Issued]:
    """The certificate of each test or correction of a test, in the order given; queries do not grow with them.

    Nothing is certified from a record that is not as it was recorded.
    """
    records = records_of({entry.item_id for entry in entries if entry.item_id})
    return [_issued(records[entry.item_id], entry) for entry in entries if entry.item_id in records]


def _issued(record: Record, entry: Entry) -> Issued:
    of = entry.corrects_id or entry.pk
    found = Issued(record.subject.removeprefix("item:"), entry, of)
    if record.problem or stated_test(entry) is None:
        return replace(found, problem=record.problem)
    versions = record.versions(of)
    earlier = [one for one in versions[: _place(versions, entry)] if stated_test(one)]
    try:
        identity = record.identity_at(entry.position)
        sources = {"test": entry, "identity": identity, "replaces": earlier[-1] if earlier else None}
        made = certificate({role: record.stated(one) for role, one in sources.items() if one is not None})
    except NotCertified as error:
        log.warning("No certificate of entry %s: %s", entry.pk, error)
        return replace(found, problem=str(error))
    return replace(found, certificate=made, standing=_standing(record, versions, entry))


def _place(versions: Sequence[Entry], entry: Entry) -> int:
    return next(place for place, one in enumerate(versions) if one.pk == entry.pk)


def _standing(record: Record, versions: Sequence[Entry], entry: Entry) -> Standing:
    last = versions[-1]
    if last.pk == entry.pk:
        return Standing()
    if stated_test(last) is None:
        return Standing("withdrawn", at=last.recorded_at)
    return Standing("replaced", certificate_check.number_of(record.stated(last)), last.recorded_at)


def proofs_for(issued: Iterable[Issued]) -> tuple[bytes, Proofs]:
    """What is attached to the paper of these certificates, with the seals that cover their entries by now."""
    certificates = [one.certificate for one in issued if one.certificate]
    ids = {UUID(entry["id"]) for one in certificates for entry in one.entries.values()}
    proofs = proofs_of(_entries(sorted(ids)))
    leaves = {str(pk): leaf for pk, leaf in proofs.leaves.items()}
    return attachment(certificates, leaves=leaves, seals=proofs.seals), proofs


def _entries(ids: Sequence[UUID]) -> list[Entry]:
    return [
        entry
        for start in range(0, len(ids), 800)
        for entry in Entry.objects.filter(pk__in=ids[start : start + 800]).only("pk", "recorded_at", "hash")
    ]


def tests() -> QuerySet[ElectricalTest]:
    """Every test that counts, with what a list needs."""
    return tests_in_force().select_related("entry", "item", "item__item_type")


def of_item(items: Iterable[Item]) -> QuerySet[ElectricalTest]:
    """Every test of these items that counts, newest first."""
    return tests().filter(item__in=list(items)).order_by(*NEWEST_FIRST)


def of_report(report_no: str) -> QuerySet[ElectricalTest]:
    """Every test under one report number of a lab or bench."""
    return tests().filter(report_no__iexact=report_no).order_by(*ITEM_ORDER)


def newest_of(items: QuerySet[Item]) -> QuerySet[ElectricalTest]:
    """The newest test that counts of each of these items, in order of item number."""
    newest = Window(
        RowNumber(),
        partition_by=F("item_id"),
        order_by=[F("tested_on").desc(), F("entry__occurred_at").desc(), F("entry__position").desc()],
    )
    return tests().filter(item__in=items).annotate(place=newest).filter(place=1).order_by(*ITEM_ORDER)


def held_by(holder: Holder) -> QuerySet[Item]:
    """The items that a holder has; of a crew's cage, those of its people and trucks too."""
    held = Q(state__holder=holder)
    if holder.kind == "crew" and holder.crew_id:
        held |= Q(state__holder__crew=holder.crew_id)
    return Item.objects.filter(held).order_by("item_no")


def received_on(day: date) -> QuerySet[Item]:
    """The items that were received on a day, as the record stands now."""
    return Item.objects.filter(state__facts__received_on=day.isoformat()).order_by("item_no")


@dataclass(frozen=True)
class Checked:
    """What the check of a typed number and code found: "genuine", "not_genuine" or "cannot_say"; with a genuine one
    what is certified and what became of it."""

    word: str
    issued: Issued | None = None


def checked(number: str, code: str) -> Checked:
    """Compare a typed number and code with the record. Whatever is not found is not genuine, without saying why."""
    typed = typed_number(number)
    entry = _entry_at(typed) if typed else None
    if not entry:
        return Checked("not_genuine")
    issued = issued_for([entry])[0]
    if not issued.problem and stated_test(entry) is None:
        return Checked("not_genuine")
    if issued.certificate is None:
        return Checked("cannot_say")
    return Checked("genuine", issued) if same_code(code, issued.certificate.code) else Checked("not_genuine")


def _entry_at(typed: Typed) -> Entry | None:
    """The entry of a typed number; one typed in small letters is looked up in capitals too."""
    found = Entry.objects.filter(position=typed.position)
    for item_no in dict.fromkeys((typed.item_no, typed.item_no.upper())):
        if entry := found.filter(item__item_no=item_no).first():
            return entry
    return None
