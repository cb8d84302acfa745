"""Append entries: one act, all or nothing, known ids harmless, states folded in the same transaction."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID, uuid4

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from gear.ledger.chain import LedgerError, moment_of, payload, subject_name
from gear.ledger.seals import leaf_of
from gear.ledger.states import batches, refresh
from gear.ledger.writers import join_writers
from gear.models import (
    Entry,
    GearSet,
    Item,
    ItemState,
    Label,
    Membership,
    SiteHead,
    User,
)
from gear.models.evidence import Sealed
from gear.rules import entries
from gear.rules.hashing import entry_hash

LONGEST_DEVICE = 80  # as the column is; a browser may call itself anything


class IdReused(LedgerError):
    """The id of an entry was sent again with other content."""


@dataclass(frozen=True)
class Draft:
    """An entry to be recorded. Give `occurred_at` (aware) for a moment or `occurred_on` for a day.

    `subject` is an Item, a GearSet or None for the site; `id` is the client's, or made here.
    """

    subject: Item | GearSet | None
    kind: str
    facts: Mapping
    occurred_at: datetime | None = None
    occurred_on: date | None = None
    corrects: Entry | None = None
    id: UUID = field(default_factory=uuid4)


def record(draft: Draft, *, by: User | None, via: str, device: str = "") -> Entry:
    """Append one entry and fold it into the state of its item; the entry already recorded if the id is known.

    Raises IdReused, BadMoment, LedgerError or entries.BadFacts; then nothing was stored.
    """
    return record_many([draft], by=by, via=via, device=device)[0]


def record_many(drafts: Sequence[Draft], *, by: User | None, via: str, device: str = "") -> list[Entry]:
    """Append many entries as one act: all of them or none. Returns them in the order given."""
    try:
        with transaction.atomic():
            return _recorded(drafts, by=by, via=via, device=device[:LONGEST_DEVICE], now=join_writers())
    except IntegrityError:
        # Two acts on different subjects may bring the same id at the same moment; locks on subjects cannot see that.
        known = _known({draft.id for draft in drafts})
        for draft in drafts:
            if draft.id in known:
                _check_same(draft, known[draft.id], by)
        raise


def _recorded(
    drafts: Sequence[Draft], *, by: User | None, via: str, device: str, now: datetime
) -> list[Entry]:
    # An import of 100,000 rows is one act, but memory is needed only for one batch of subjects at a time.
    by_subject: dict[tuple, list[Draft]] = {}
    for draft in drafts:
        entries.check(draft.kind, _versioned(draft.facts), subject=_subject_word(draft.subject))
        by_subject.setdefault(_subject_key(draft.subject), []).append(draft)
    done: dict[UUID, Entry] = {}
    for batch in batches(sorted(by_subject.items(), key=lambda pair: pair[0])):
        done.update(_append(batch, by=by, via=via, device=device, now=now))
    return [done[draft.id] for draft in drafts]


def append(row: Sealed) -> None:
    """Append a refusal, a given answer, an imported file, a print and the like to the record; its `at` is set here.

    The one way to store such a row: it joins the writers, so that the daily seal covers it. Raises TypeError or
    ValueError for a row that cannot be sealed (a float among its reasons); then nothing was stored.
    """
    with transaction.atomic():
        row.at = join_writers()
        leaf_of(row)
        row.appending = True
        row.save()


def _versioned(facts: Mapping) -> dict:
    return {"v": entries.VERSION, **facts}


def _subject_word(subject) -> str:
    return {Item: "item", GearSet: "set", type(None): "site"}[type(subject)]


def _subject_key(subject) -> tuple:
    return (_subject_word(subject), subject.pk if subject else 0)


def _columns_of(subject: Item | GearSet | None) -> tuple[int | None, int | None]:
    """(item_id, gear_set_id) of the entries of a subject."""
    return (
        subject.pk if isinstance(subject, Item) else None,
        subject.pk if isinstance(subject, GearSet) else None,
    )


def _known(ids: set[UUID]) -> dict[UUID, Entry]:
    found = {}
    for batch in batches(sorted(ids)):
        found.update({entry.id: entry for entry in Entry.objects.filter(id__in=batch)})
    return found


def _check_same(draft: Draft, entry: Entry, by: User | None) -> None:
    """A known id must come with what was recorded under it."""
    stated_moment = draft.occurred_at is None or draft.occurred_at == entry.occurred_at
    stated_day = draft.occurred_on is None or draft.occurred_on == entry.occurred_on
    if not (
        stated_moment
        and stated_day
        and (entry.item_id, entry.gear_set_id) == _columns_of(draft.subject)
        and entry.kind == draft.kind
        and json_form(_versioned(draft.facts)) == json_form(entry.facts)
        and entry.corrects_id == (draft.corrects.id if draft.corrects else None)
        and entry.by_id == (by.pk if by else None)
    ):
        raise IdReused(
            _("This id was used before for another entry. Nothing was recorded; send it with a new id.")
        )


def json_form(value) -> str:
    """Comparable text of JSON facts."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False)


def _append(
    batch: Sequence[tuple[tuple, list[Draft]]], *, by, via: str, device: str, now: datetime
) -> dict[UUID, Entry]:
    """Append the drafts of a batch of subjects and bring their heads and states up to date."""
    items = {pk for (word, pk), _drafts in batch if word == "item"}
    states = _locked_states(items)
    sets = _locked_sets({pk for (word, pk), _drafts in batch if word == "set"})
    heads = {key: _head(key, states, sets) for key, _drafts in batch}
    # Only now that the subjects are locked is it certain which ids are known.
    known = _known({draft.id for _key, drafts in batch for draft in drafts})
    made: dict[UUID, Entry] = {}
    for key, drafts in batch:
        for draft in drafts:
            if draft.id in known:
                _check_same(draft, known[draft.id], by)
            else:
                entry = _link(heads[key], draft, by=by, via=via, device=device, now=now)
                known[draft.id] = made[draft.id] = entry
    Entry.objects.bulk_create(made.values(), batch_size=500)
    _index(made.values())
    changed = {entry.item_id for entry in made.values() if entry.item_id}
    refresh({pk: states[pk] for pk in changed})
    GearSet.objects.bulk_update(sets.values(), ["entry_count", "head_hash"], batch_size=200)
    if ("site", 0) in heads:
        heads["site", 0].save(update_fields=["entry_count", "head_hash"])
    return known


def _locked_states(items: set[int]) -> dict[int, ItemState]:
    found = {
        state.pk: state for state in ItemState.objects.select_for_update().filter(pk__in=items).order_by("pk")
    }
    missing = sorted(items - found.keys())
    if not missing:
        return found
    # Another act may have made the state meanwhile: then this waits for it, and takes what it left.
    made = [ItemState(item_id=pk) for pk in missing]
    ItemState.objects.bulk_create(made, ignore_conflicts=True)
    states = ItemState.objects.select_for_update().filter(pk__in=missing).order_by("pk")
    late = {state.pk: state for state in states}
    if Entry.objects.filter(item_id__in=[pk for pk, state in late.items() if not state.entry_count]).exists():
        raise LedgerError(_("The state of an item is missing. Have the administrator run verify_ledger."))
    return found | late


def _locked_sets(pks: set[int]) -> dict[int, GearSet]:
    return {row.pk: row for row in GearSet.objects.select_for_update().filter(pk__in=pks).order_by("pk")}


def _head(
    key: tuple, states: Mapping[int, ItemState], sets: Mapping[int, GearSet]
) -> ItemState | GearSet | SiteHead:
    word, pk = key
    if word == "item":
        return states[pk]
    return sets[pk] if word == "set" else _locked_site_head()


def _locked_site_head() -> SiteHead:
    head, _made = SiteHead.objects.get_or_create(only=True)
    return SiteHead.objects.select_for_update().get(pk=head.pk)


def _link(head, draft: Draft, *, by: User | None, via: str, device: str, now: datetime) -> Entry:
    """The entry that follows `head`, which is moved on to it."""
    facts = _versioned(draft.facts)
    subject = draft.subject
    if draft.corrects and (draft.corrects.item_id, draft.corrects.gear_set_id) != _columns_of(subject):
        raise LedgerError(_("A correction belongs to the subject of the entry that it corrects."))
    occurred_at, occurred_on, precision = moment_of(
        draft.kind, facts, occurred_at=draft.occurred_at, occurred_on=draft.occurred_on, now=now
    )
    entry = Entry(
        id=draft.id,
        item=subject if isinstance(subject, Item) else None,
        gear_set=subject if isinstance(subject, GearSet) else None,
        position=head.entry_count + 1,
        kind=draft.kind,
        occurred_at=occurred_at,
        occurred_on=occurred_on,
        precision=precision,
        recorded_at=now,
        by=by,
        via=via,
        device=device,
        facts=facts,
        corrects=draft.corrects,
        previous_hash=head.head_hash,
    )
    stated = payload(entry, subject=subject_name(subject), by=by.username if by else "")
    entry.hash = entry_hash(stated, head.head_hash)
    head.entry_count, head.head_hash = entry.position, entry.hash
    return entry


def _index(made: Iterable[Entry]) -> None:
    """Rows that find labels and set members; the entries remain the evidence."""
    entries_made = list(made)
    Label.objects.bulk_create(
        [
            Label(code=entry.facts["code"], item_id=entry.item_id, entry=entry)
            for entry in entries_made
            if entry.kind == "labelled"
        ],
        batch_size=500,
    )
    joined = [entry for entry in entries_made if entry.kind == "joined_set"]
    sets = {
        gear_set.set_no: gear_set.pk
        for batch in batches(sorted({e.facts["set_no"] for e in joined}))
        for gear_set in GearSet.objects.filter(set_no__in=batch)
    }
    Membership.objects.bulk_create(
        [
            Membership(item_id=entry.item_id, gear_set_id=sets[entry.facts["set_no"]], entry=entry)
            for entry in joined
        ],
        batch_size=500,
    )
