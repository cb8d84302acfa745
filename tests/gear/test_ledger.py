"""The one write path: everything or nothing, known ids harmless, dates checked, chains linked."""

import sys
from datetime import UTC, date, datetime, timedelta
from datetime import timezone as fixed
from uuid import uuid4

import pytest
import time_machine
from django.db import IntegrityError
from django.utils import timezone

from gear.ledger import BadMoment, Draft, IdReused, LedgerError, payload, record, record_many, verify
from gear.models import Entry, GearSet, Item, ItemState, Label, Membership, SiteHead
from gear.models.evidence import Immutable
from gear.rules.entries import BadFacts
from gear.rules.hashing import entry_hash
from tests import builders

pytestmark = pytest.mark.django_db
MAR = date(2026, 3, 1)


@pytest.fixture
def orla(db):
    return builders.person("clerk", "orla")


@pytest.fixture
def blanket(db):
    return builders.blanket("B-1")


def note(subject, text="seen", **given):
    return Draft(subject, "noted", {"note": text}, **given)


def put(draft, by=None, **given):
    return record(draft, by=by, via=given.pop("via", "web"), **given)


# The chain
def test_every_entry_follows_the_one_before_it_and_the_state_knows_the_newest(blanket, orla):
    entries = [put(note(blanket, text), by=orla) for text in "abc"]
    chain = list(Entry.objects.filter(item=blanket).order_by("position"))
    assert [entry.position for entry in chain] == [1, 2, 3, 4]
    previous = ""
    for entry in chain:
        by = entry.by.username if entry.by else ""
        assert entry.previous_hash == previous
        assert entry.hash == entry_hash(payload(entry, subject="item:B-1", by=by), previous)
        previous = entry.hash
    state = ItemState.objects.get(item=blanket)
    assert (state.entry_count, state.head_hash) == (4, entries[-1].hash)


def test_every_subject_has_a_chain_of_its_own(blanket, orla):
    left, right = builders.pair("P-1")
    put(Draft(None, "person_changed", {"person": "orla", "change": "role"}), by=orla)
    put(note(blanket))
    heads = {
        "B-1": ItemState.objects.get(item=blanket),
        "left": ItemState.objects.get(item=left),
        "set": GearSet.objects.get(),
        "site": SiteHead.objects.get(),
    }
    assert {name: head.entry_count for name, head in heads.items()} == {
        "B-1": 2,
        "left": 2,
        "set": 1,
        "site": 1,
    }
    assert ItemState.objects.get(item=right).entry_count == 2
    assert len({head.head_hash for head in heads.values()}) == 4


def test_labels_and_memberships_are_indexed_with_their_entries(blanket):
    label = builders.happened(blanket, "labelled", code="ABCDEFGHJKM")
    left, _right = builders.pair("P-1")
    assert (Label.objects.get().entry, Label.objects.get().item) == (label, blanket)
    assert Membership.objects.filter(item=left, gear_set__set_no="P-1", entry__kind="joined_set").count() == 1


# Ids
def test_a_known_id_with_the_same_content_is_the_entry_already_recorded(blanket, orla):
    draft = note(blanket, occurred_on=MAR)
    first = put(draft, by=orla)
    with time_machine.travel(timezone.now() + timedelta(days=400)):
        assert put(draft, by=orla, device="another", via="api") == first
    assert Entry.objects.filter(kind="noted").count() == 1
    assert ItemState.objects.get(item=blanket).entry_count == 2


def test_an_id_may_stand_twice_in_one_act_if_it_says_the_same(blanket):
    draft = note(blanket)
    assert len(set(record_many([draft, draft], by=None, via="web"))) == 1
    with pytest.raises(IdReused):
        record_many([draft, note(blanket, "other", id=draft.id)], by=None, via="web")


OTHERS = {
    "facts": lambda blanket, _pair: note(blanket, "other", occurred_on=MAR),
    "kind": lambda blanket, _pair: Draft(blanket, "held", {"reason": "seen"}, occurred_on=MAR),
    "day": lambda blanket, _pair: note(blanket, occurred_on=MAR - timedelta(days=1)),
    "moment": lambda blanket, _pair: note(blanket, occurred_at=datetime(2026, 3, 1, 15, tzinfo=UTC)),
    "item": lambda _blanket, pair: note(pair[0], occurred_on=MAR),
}


@pytest.mark.parametrize("difference", OTHERS)
def test_a_known_id_with_other_content_is_refused_and_nothing_changes(blanket, orla, difference):
    pair = builders.pair()
    draft = note(blanket, occurred_on=MAR)
    put(draft, by=orla)
    count = Entry.objects.count()
    other = OTHERS[difference](blanket, pair)
    with pytest.raises(IdReused, match="used before for another entry"):
        put(
            Draft(other.subject, other.kind, other.facts, other.occurred_at, other.occurred_on, id=draft.id),
            by=orla,
        )
    assert Entry.objects.count() == count


def test_a_known_id_from_somebody_else_is_refused(blanket, orla):
    draft = note(blanket)
    put(draft, by=orla)
    for other in (None, builders.person("worker", "dev")):
        with pytest.raises(IdReused):
            put(draft, by=other)


def test_an_id_that_another_subject_took_at_the_same_moment_is_told_as_reused(blanket, monkeypatch):
    """Each writer locks its own item only: the look for known ids may come too early, and the insert then fails."""
    module = sys.modules["gear.ledger.record"]
    theirs = put(note(builders.blanket("B-2")))
    honest, looks = module._known, []

    def too_early(ids):
        looks.append(ids)
        return {} if len(looks) == 1 else honest(ids)

    monkeypatch.setattr(module, "_known", too_early)
    with pytest.raises(IdReused):
        put(note(blanket, id=theirs.id))
    assert Entry.objects.filter(item=blanket).count() == 1
    monkeypatch.setattr(module, "_known", lambda _ids: {})
    with pytest.raises(IntegrityError):
        put(note(blanket, id=theirs.id))


# All or nothing
def test_many_entries_are_one_act(blanket):
    drafts = [
        note(blanket),
        note(blanket, "b"),
        Draft(blanket, "held", {"reason": "x"}, occurred_on=date(1066, 10, 14)),
    ]
    with pytest.raises(BadMoment):
        record_many(drafts, by=None, via="import")
    assert Entry.objects.filter(item=blanket).count() == 1
    assert ItemState.objects.get(item=blanket).entry_count == 1


def test_entries_come_back_in_the_order_given_whatever_the_order_of_locks(blanket):
    other = builders.blanket("B-0")
    drafts = [
        note(other),
        note(blanket, "b"),
        note(other, "c"),
        Draft(None, "person_changed", {"person": "x", "change": "y"}),
    ]
    made = record_many(drafts, by=None, via="web")
    assert [entry.id for entry in made] == [draft.id for draft in drafts]


@pytest.mark.parametrize(
    ("kind", "facts"),
    [
        ("noted", {}),
        ("noted", {"note": 1.5}),
        ("unheard", {}),
        ("noted", {"note": "nul\0"}),
        ("pack_adopted", {}),
    ],
)
def test_what_is_no_entry_is_refused_before_anything_is_locked(blanket, kind, facts):
    with pytest.raises(BadFacts):
        put(Draft(blanket, kind, facts))


def test_facts_that_claim_another_version_are_refused(blanket):
    with pytest.raises(BadFacts, match="version"):
        put(Draft(blanket, "noted", {"v": 2, "note": "x"}))


def test_a_correction_belongs_to_the_subject_of_what_it_corrects(blanket):
    other = put(note(builders.blanket("B-2")))
    with pytest.raises(LedgerError, match="belongs to the subject"):
        put(Draft(blanket, "corrected", {"reason": "x", "replacement": None}, corrects=other))


def test_the_name_of_a_device_is_cut_to_what_the_book_holds(blanket):
    assert len(put(note(blanket), device="x" * 500).device) == 80
    assert verify.verify() == []


def test_an_item_whose_state_was_taken_away_takes_no_entry(blanket):
    ItemState.objects.filter(item=blanket).delete()
    with pytest.raises(LedgerError, match="verify_ledger"):
        put(note(blanket))


def test_the_first_entry_of_an_item_makes_its_state_even_if_another_act_made_it_meanwhile(
    blanket, monkeypatch
):
    fresh = Item.objects.create(item_no="B-2", item_type=blanket.item_type)
    honest = ItemState.objects.bulk_create

    def meanwhile(*given, **named):
        if not ItemState.objects.filter(item=fresh).exists():
            ItemState.objects.create(item=fresh)
        return honest(*given, **named)

    monkeypatch.setattr(ItemState.objects, "bulk_create", meanwhile)
    put(note(fresh))
    assert ItemState.objects.get(item=fresh).entry_count == 1


# When
NOON = datetime(2026, 3, 1, 17, tzinfo=UTC)  # noon in New York


@pytest.mark.parametrize(
    ("seconds", "taken"), [(0, True), (119, True), (120, True), (121, False), (86_400, False)]
)
def test_two_minutes_of_skew_are_taken_and_the_future_is_not(blanket, seconds, taken):
    with time_machine.travel(NOON, tick=False):
        draft = note(blanket, occurred_at=NOON + timedelta(seconds=seconds))
        if taken:
            assert put(draft).occurred_on == MAR
            return
        with pytest.raises(BadMoment, match="future"):
            put(draft)


@pytest.mark.parametrize(("day", "taken"), [(MAR, True), (MAR + timedelta(days=1), False), (date.max, False)])
def test_a_day_is_not_in_the_future_as_the_site_counts_days(blanket, day, taken):
    """At 23:57:59 of the first of March in New York it is the second in Greenwich, and not here."""
    with time_machine.travel(datetime(2026, 3, 2, 4, 57, 59, tzinfo=UTC), tick=False):
        if taken:
            assert put(note(blanket, occurred_on=day)).occurred_on == day
            return
        with pytest.raises(BadMoment, match="future"):
            put(note(blanket, occurred_on=day))


@pytest.mark.parametrize("day", [date(1899, 12, 31), date.min])
def test_nothing_happened_before_1900(blanket, day):
    with pytest.raises(BadMoment, match="before 1900"):
        put(note(blanket, occurred_on=day))
    assert put(note(blanket, occurred_on=date(1900, 1, 1))).occurred_on == date(1900, 1, 1)


def test_a_time_without_its_offset_is_refused(blanket):
    with pytest.raises(BadMoment, match="offset"):
        put(note(blanket, occurred_at=datetime(2026, 3, 1, 12)))  # noqa: DTZ001 - that is the point


def test_a_moment_is_kept_in_utc_with_the_sites_day_beside_it(blanket):
    entry = put(note(blanket, occurred_at=datetime(2026, 3, 2, 4, 30, tzinfo=fixed(timedelta(hours=2)))))
    assert (entry.occurred_at, entry.occurred_on, entry.precision) == (
        datetime(2026, 3, 2, 2, 30, tzinfo=UTC),
        MAR,
        "moment",
    )


def test_without_a_time_the_good_counts_from_midnight_and_the_bad_to_midnight(blanket):
    (good,) = builders.tested(blanket, on=MAR)
    (bad,) = builders.tested(blanket, on=MAR, outcome="failed")
    assert (good.occurred_at, good.precision) == (datetime(2026, 3, 1, 5, tzinfo=UTC), "day")
    assert bad.occurred_at == datetime(2026, 3, 2, 4, 59, 59, tzinfo=UTC)


def test_what_is_not_dated_happens_now(blanket):
    with time_machine.travel(NOON, tick=False):
        entry = put(note(blanket))
    assert (entry.occurred_at, entry.recorded_at) == (NOON, NOON)


# Append only
def test_an_entry_is_made_by_the_ledger_alone_and_never_changed_by_the_program(blanket):
    entry = put(note(blanket))
    entry.device = "x"
    with pytest.raises(Immutable, match="Enter a correction"):
        entry.save()
    with pytest.raises(Immutable, match=r"gear\.ledger\.record alone"):
        Entry.objects.create(id=uuid4(), item=blanket, position=9, kind="noted")


def test_the_number_of_queries_does_not_grow_with_the_items_of_an_act(blanket, django_assert_max_num_queries):
    with django_assert_max_num_queries(25) as few:
        record_many([note(blanket)], by=None, via="web")
    many = [builders.blanket(f"M-{number}") for number in range(50)]
    with django_assert_max_num_queries(len(few)):
        record_many([note(one) for one in many], by=None, via="web")
