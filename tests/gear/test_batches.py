"""Many pieces held as one act, all or none, and exactly these holds taken off again by another person."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear import queries
from gear.actions import batches, condition
from gear.actions.acting import Act, LedgerError, Refused
from gear.actions.batches import Cause, hold_all, release_all
from gear.ledger import verify
from gear.models import BatchHold, Entry, HoldBatch, ItemState, Refusal
from gear.permissions import NotAllowed
from gear.queries.batches import batch_page, still_held, undone
from tests import builders

pytestmark = pytest.mark.django_db
LOT = Cause("recall", "Recall: lot 7A", {"lot": ["7A"]})


@pytest.fixture
def blankets(cast):
    """Three blankets that are good today."""
    made = [builders.blanket(f"B-{number}", lot="7A") for number in (1, 2, 3)]
    builders.tested(*made)
    return made


def verdicts(*items):
    return [one.verdict for one in queries.answers([item.item_no for item in items], queries.question())]


def holds_of(item):
    return [one["reason"] for one in ItemState.objects.get(item=item).facts.get("holds", [])]


def hold(items, by, *, cause=LOT, reason="maker's notice of 9 September"):
    return hold_all(items, cause=cause, reason=reason, act=Act(by))


def test_all_of_them_are_on_hold_with_the_subject_the_reason_and_the_number(cast, blankets):
    batch = hold(blankets, cast.orla)
    assert verdicts(*blankets) == ["stop"] * 3
    for blanket in blankets:
        entry = blanket.entry_set.get(kind="held")
        assert entry.facts == {
            "v": 1,
            "reason": "Recall: lot 7A: maker's notice of 9 September",
            "batch": "H-0001",
        }
        assert entry.by == cast.orla
        assert BatchHold.objects.get(entry=entry).batch == batch
    assert (batch.number, batch.by, batch.about, batch.pieces) == ("H-0001", cast.orla, "recall", 3)
    assert batch.asked == {"lot": ["7A"]}
    assert verify.verify() == []


def test_batches_are_numbered_in_order(cast, blankets):
    assert [hold([one], cast.orla).number for one in blankets] == ["H-0001", "H-0002", "H-0003"]


@pytest.mark.parametrize("name", ["orla", "ines"])
def test_clerk_and_supervisor_may_hold_many(cast, blankets, name):
    assert hold(blankets, getattr(cast, name)).by.username == name


@pytest.mark.parametrize("name", ["dev", "bertrand", "halvard", "pim"])
def test_others_may_not_and_that_they_tried_is_kept(cast, blankets, name):
    with pytest.raises(NotAllowed):
        hold(blankets, getattr(cast, name))
    assert verdicts(*blankets) == ["good"] * 3
    assert Refusal.objects.get().act == "hold_batch"


@pytest.mark.parametrize("reason", ["", "   "])
def test_a_reason_is_needed(cast, blankets, reason):
    with pytest.raises(Refused, match="Give a reason"):
        hold(blankets, cast.orla, reason=reason)
    assert HoldBatch.objects.count() == 0


def test_nothing_cannot_be_held(cast):
    with pytest.raises(Refused, match="nothing to hold"):
        hold([], cast.orla)


# All or none


def test_one_destroyed_piece_refuses_all_and_is_named(cast, blankets):
    builders.happened(blankets[1], "rejected", reason="cut")
    builders.happened(blankets[1], "destroyed", reason="cut up", witness="ines")
    with pytest.raises(Refused, match="B-2: This item was destroyed"):
        hold(blankets, cast.orla)
    assert not Entry.objects.filter(kind="held").exists()
    assert (HoldBatch.objects.count(), BatchHold.objects.count()) == (0, 0)


def test_one_piece_whose_record_cannot_be_read_refuses_all_and_is_named(cast, blankets):
    ItemState.objects.filter(item=blankets[2]).update(facts={"item_no": "B-3"})
    with pytest.raises(LedgerError, match="record of B-3 cannot be read"):
        hold(blankets, cast.orla)
    assert not Entry.objects.filter(kind="held").exists()


@pytest.mark.parametrize("failing", ["record_many", "BatchHold"])
def test_a_failure_at_any_step_leaves_nothing_behind(cast, blankets, monkeypatch, failing):
    class Broken(Exception):
        pass

    def breaks(*_args, **_kwargs):
        raise Broken

    if failing == "record_many":
        whole = batches.record_many

        def half(drafts, **how):
            whole(drafts[:1], **how)
            raise Broken

        monkeypatch.setattr(batches, "record_many", half)
    else:
        monkeypatch.setattr(BatchHold.objects, "bulk_create", breaks)
    with pytest.raises(Broken):
        hold(blankets, cast.orla)
    assert verdicts(*blankets) == ["good"] * 3
    assert not Entry.objects.filter(kind="held").exists()
    assert (HoldBatch.objects.count(), BatchHold.objects.count()) == (0, 0)
    assert verify.verify() == []


def test_a_failure_while_releasing_leaves_every_hold(cast, blankets, monkeypatch):
    batch = hold(blankets, cast.orla)
    whole = batches.record_many

    def half(drafts, **how):
        whole(drafts[:2], **how)
        raise RuntimeError

    monkeypatch.setattr(batches, "record_many", half)
    with pytest.raises(RuntimeError):
        release_all(batch, reason="lot cleared", act=Act(cast.ines))
    assert len(still_held(batch)) == 3


# The way back


def test_another_supervisor_releases_exactly_the_holds_of_the_batch(cast, blankets):
    condition.hold(blankets[0], reason="odd smell", act=Act(cast.dev))
    batch = hold(blankets, cast.orla)
    other = hold([blankets[1]], cast.orla, cause=Cause("trace", "Instrument M-2"))
    done = release_all(batch, reason="the maker cleared the lot", act=Act(cast.ines))
    assert (done.count, done.destroyed) == (3, ())
    assert holds_of(blankets[0]) == ["odd smell"]
    assert holds_of(blankets[1]) == [other.reason]
    assert holds_of(blankets[2]) == []
    assert verdicts(*blankets) == ["stop", "stop", "good"]
    assert {entry.facts["batch"] for entry in Entry.objects.filter(kind="released")} == {"H-0001"}
    assert verify.verify() == []


def test_whoever_held_them_cannot_release_them(cast, blankets):
    batch = hold(blankets, cast.ines)
    with pytest.raises(Refused, match="Ask another supervisor"):
        release_all(batch, reason="lot cleared", act=Act(cast.ines))
    assert len(still_held(batch)) == 3
    assert Refusal.objects.get().code == "OWN_BATCH"
    second = builders.person("supervisor", "rowan")
    assert release_all(batch, reason="lot cleared", act=Act(second)).count == 3


@pytest.mark.parametrize("name", ["dev", "bertrand", "orla", "halvard", "pim"])
def test_only_a_supervisor_releases_many(cast, blankets, name):
    batch = hold(blankets, cast.ines)
    with pytest.raises(NotAllowed):
        release_all(batch, reason="lot cleared", act=Act(getattr(cast, name)))
    assert len(still_held(batch)) == 3


def test_what_was_released_by_itself_is_left_alone(cast, blankets):
    batch = hold(blankets, cast.orla)
    first = blankets[0].entry_set.get(kind="held")
    condition.release(blankets[0], hold_id=str(first.pk), reason="another lot after all", act=Act(cast.ines))
    assert still_held(batch) == {blankets[1].pk, blankets[2].pk}
    assert release_all(batch, reason="lot cleared", act=Act(cast.ines)).count == 2
    assert blankets[0].entry_set.filter(kind="released").count() == 1
    with pytest.raises(Refused, match="No hold of this batch is left"):
        release_all(batch, reason="again", act=Act(cast.ines))


def test_what_was_destroyed_meanwhile_stays_as_it_is_and_is_named(cast, blankets):
    batch = hold(blankets, cast.orla)
    condition.reject(blankets[1], reason="cut", act=Act(cast.orla))
    condition.destroy(blankets[1], witness=cast.ines, reason="cut in four", act=Act(cast.orla))
    done = release_all(batch, reason="lot cleared", act=Act(cast.ines))
    assert (done.count, done.destroyed) == (2, ("B-2",))


def test_one_piece_of_another_depot_refuses_all(cast, blankets):
    clay = builders.depot("Upper Clay")
    far = builders.blanket("B-9", lot="7A", at=builders.holder("shelf", "Clay shelf", depot=clay))
    batch = hold([*blankets, far], cast.orla)
    cast.ines.depot = cast.depot
    with pytest.raises(NotAllowed, match="another depot"):
        release_all(batch, reason="lot cleared", act=Act(cast.ines))
    assert len(still_held(batch)) == 4


def test_a_rejected_or_lost_piece_is_held_and_released_like_any_other(cast, blankets):
    builders.happened(blankets[0], "rejected", reason="cut")
    builders.happened(blankets[1], "lost", reason="left at the storm job")
    batch = hold(blankets, cast.orla)
    assert release_all(batch, reason="lot cleared", act=Act(cast.ines)).count == 3
    assert verdicts(*blankets) == ["stop", "stop", "good"]


def test_a_batch_tells_by_whom_and_why_it_was_released(cast, blankets):
    batch = hold(blankets, cast.orla)
    assert undone(batch) == []
    release_all(batch, reason="the maker cleared the lot", act=Act(cast.ines))
    (one,) = undone(batch)
    assert (one.by, one.reason, one.count) == ("ines", "the maker cleared the lot", 3)


def test_a_batch_counts_what_it_still_holds(cast, blankets):
    first, second = hold(blankets, cast.orla), hold(blankets[:1], cast.orla)
    release_all(first, reason="lot cleared", act=Act(cast.ines))
    rows, page, pages = batch_page(7)
    assert [(row.batch, row.still) for row in rows] == [(second, 1), (first, 0)]
    assert (page, pages) == (1, 1)


# Queries


def counted(act):
    with CaptureQueriesContext(
        connection,
    ) as captured:
        act()
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_pieces(cast):
    few = [builders.blanket(f"B-{number}") for number in range(3)]
    many = [builders.blanket(f"C-{number}") for number in range(60)]
    made = []
    placing = [counted(lambda some=some: made.append(hold(some, cast.orla))) for some in (few, many)]
    assert placing[0] == placing[1]
    taking = [
        counted(lambda batch=batch: release_all(batch, reason="cleared", act=Act(cast.ines)))
        for batch in made
    ]
    assert taking[0] == taking[1]
    listing = [counted(lambda: batch_page(1)), counted(lambda: still_held(made[1]))]
    assert listing == [3, 1]


def test_214_pieces_in_one_act(cast):
    pieces = [builders.blanket(f"B-{number:03d}", received_on=date(2025, 1, 2)) for number in range(214)]
    batch = hold(pieces, cast.ines, cause=Cause("trace", "Instrument M-2 found wrong on 2026-09-14"))
    assert batch.pieces == BatchHold.objects.filter(batch=batch).count() == 214
    assert Entry.objects.filter(kind="held", facts__batch=batch.number).count() == 214
    assert ItemState.objects.filter(condition="held").count() == 214
    another = builders.person("supervisor", "rowan")
    assert release_all(batch, reason="calibrated again: it was right", act=Act(another)).count == 214
    assert ItemState.objects.filter(condition="ok").count() == 214


def test_the_same_act_sent_twice_holds_once(cast, blankets):
    act = Act(cast.orla, id=uuid4())
    hold_all(blankets, cause=LOT, reason="notice", act=act)
    with pytest.raises(Refused):
        hold_all(blankets, cause=LOT, reason="notice", act=act)
    assert Entry.objects.filter(kind="held").count() == 3
