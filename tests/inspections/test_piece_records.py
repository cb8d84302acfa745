"""What a phone says of a piece: checked, damaged, something happened to it, lost, found. Each is one act, done once."""

from datetime import UTC, datetime
from types import MappingProxyType
from uuid import uuid4

import pytest
from django.utils import timezone

from gear import queries
from gear.actions.acting import Act, Refused
from gear.models import Entry
from gear.permissions import NotAllowed
from gear.rules import visual
from gear.rules.checklists import lines_of
from gear.rules.entries import VOIDING_EVENTS
from gear.rules.readiness import KINDS
from inspections.field import pieces
from inspections.field.kinds import KINDS as RECORDS
from inspections.field.kinds import BadRecord, Sent
from inspections.models import Device
from inspections.rules.pieces import damage_words, events_of
from tests import builders

pytestmark = pytest.mark.django_db
THEN = datetime(2026, 3, 4, 10, 45, tzinfo=UTC)
TOLD = MappingProxyType({"verdict": "good", "as_of_ms": 1772620000000, "data_age_s": 720, "source": "bundle"})
LINES = [line.code for line in lines_of("glove")]


@pytest.fixture
def phone(cast):
    return Device.objects.create(
        name="phone 1", kind="own", person=cast.dev, added_at=timezone.now(), added_by=cast.dev
    )


@pytest.fixture
def send(cast, phone):
    """Does one record as the sync does it: under its own id, with the moment that the phone names."""

    def one(kind, item, *, by=None, told=TOLD, record=None, **body):
        person, record = by or cast.dev, record or uuid4()
        sent = Sent(record, kind, item, person, phone, THEN, told, body)
        act = Act(person, via="field", device=phone.name, occurred_at=THEN, id=record)
        return RECORDS[kind](sent, act)

    return one


@pytest.fixture
def gloves(db):
    """A pair of Dev's, tested and issued before the day of the story."""
    left, right = builders.pair("S-1")
    builders.tested(left, right, on=datetime(2026, 3, 1, tzinfo=UTC).date())
    builders.issued(left, right, on=datetime(2026, 3, 2, tzinfo=UTC).date())
    return left, right


def said(item):
    """The newest entry about an item."""
    return Entry.objects.filter(item=item).order_by("-position").first()


def verdict(item, day="2026-03-04"):
    answer = queries.answer(item.item_no, queries.question_in(day))
    return answer.verdict, [reason.code for reason in answer.reasons]


# Checked


def test_a_check_keeps_who_when_on_what_and_what_the_screen_had_said(send, gloves, cast):
    left, _right = gloves
    send("checked", left, checklist=LINES)
    entry = said(left)
    assert (entry.kind, entry.by, entry.device, entry.via) == ("inspected", cast.dev, "phone 1", "field")
    assert entry.occurred_at == THEN
    stated = {"v": 1, "outcome": "accept", "scope": "pre_use", "checklist": LINES, "told": dict(TOLD)}
    assert entry.facts == stated


def test_one_check_of_a_pair_is_an_entry_of_each_hand(send, gloves):
    left, right = gloves
    record = uuid4()
    done = send("checked", left, record=record, checklist=LINES, also=right.item_no)
    assert done == {"item": left.item_no, "entry": str(record), "also": right.item_no}
    assert said(right).pk == pieces.second_id(record)
    assert [said(one).facts["outcome"] for one in gloves] == ["accept", "accept"]
    send("checked", left, record=record, checklist=LINES, also=right.item_no)
    assert Entry.objects.filter(kind="inspected").count() == 2  # sent twice, recorded once


def test_what_is_not_of_the_same_set_is_not_checked_along(send, gloves):
    left, _right = gloves
    stranger = builders.glove("G-other")
    assert send("checked", left, checklist=LINES, also="G-other")["also"] == ""
    assert said(stranger).kind == "received"


def test_a_line_of_another_kind_is_refused(send, gloves):
    with pytest.raises(Refused) as refused:
        send("checked", gloves[0], checklist=["clamps"])
    assert refused.value.code == "LINE_NOT_OF_KIND"


def test_a_check_makes_nothing_good(send, gloves):
    left, _right = gloves
    builders.happened(left, "held", reason="odd smell", on=THEN.date())
    send("checked", left, checklist=LINES)
    assert verdict(left)[0] == "stop"


# Damaged


@pytest.mark.parametrize(
    ("word", "outcome", "code"),
    [("cut", "reject", "DAMAGED"), ("scratch", "test", "NEEDS_TEST"), ("mud", "clean", "NEEDS_CLEANING")],
)
def test_what_follows_comes_from_the_word_and_stops_the_piece(send, gloves, word, outcome, code):
    left, right = gloves
    assert send("damage", left, words=[word], place="inside:palm")["outcome"] == outcome
    facts = said(left).facts
    assert (facts["outcome"], facts["words"], facts["place"]) == (outcome, [word], "inside:palm")
    assert verdict(left)[0] == "stop"
    assert code in verdict(left)[1]
    assert verdict(right)[0] == "stop"  # a pair is no better than its worse half


@pytest.mark.parametrize(
    "body",
    [
        {"words": ["moth"]},
        {"words": []},
        {"words": ["cut"], "place": "outside:elbow"},
        {"words": ["broken_strands"], "place": "palm"},
    ],
)
def test_a_report_that_cannot_be_read_word_for_word_still_stops_the_piece(send, gloves, body):
    left, _right = gloves
    assert send("damage", left, note="on the thumb", **body)["outcome"] == "hold"
    assert verdict(left)[0] == "stop"
    reason = said(left).facts["reason"]
    assert "on the thumb" in reason
    assert all(word in reason for word in body["words"])


@pytest.mark.parametrize("kind", KINDS)
def test_the_words_of_every_kind_go_from_the_harshest_to_the_mildest(kind):
    words = damage_words(kind)
    outcomes = [visual.OUTCOMES.index(visual.WORDS[word][0]) for word in words]
    assert outcomes == sorted(outcomes, reverse=True)
    assert {visual.WORDS[word][0] for word in words} == {"reject", "test", "clean"}
    missing = set(visual.words_for(kind)) - set(words)
    assert missing <= {"dropped", "no_protectors", "flash_nearby"}  # those are events


# Something happened


@pytest.mark.parametrize("event", ["dropped", "flash_or_contact", "used_without_protectors", "suspect"])
def test_an_event_needs_a_test_before_use(send, gloves, event):
    left, _right = gloves
    send("event", left, event=event)
    assert said(left).facts == {"v": 1, "event": event, "told": dict(TOLD)}
    assert "NEEDS_TEST" in verdict(left)[1]
    assert said(left).occurred_at == THEN


def test_only_what_happens_to_a_kind_is_offered_of_it():
    assert "used_without_protectors" in events_of("glove")
    assert "used_without_protectors" not in events_of("sleeve")
    assert "carried_fault_current" in events_of("grounding_jumper")
    assert "carried_fault_current" not in events_of("glove")
    assert set(events_of("glove")) | {"carried_fault_current"} == set(VOIDING_EVENTS)


def test_what_cannot_happen_to_a_kind_is_kept_as_doubt(send, gloves):
    send("event", gloves[0], event="carried_fault_current")
    facts = said(gloves[0]).facts
    assert (facts["event"], facts["note"]) == ("suspect", "carried_fault_current.")


def test_a_repair_is_recorded_by_the_clerk_who_says_what_was_done(send, gloves, cast):
    with pytest.raises(NotAllowed):
        send("event", gloves[0], event="repaired", note="patched")
    with pytest.raises(Refused):
        send("event", gloves[0], event="repaired", by=cast.orla)
    send("event", gloves[0], event="repaired", note="cuff trimmed", by=cast.orla)
    assert said(gloves[0]).facts["note"] == "cuff trimmed"


def test_lost_and_found_again_is_held_and_needs_a_test(send, gloves):
    left, _right = gloves
    send("lost", left)
    assert "LOST" in verdict(left)[1]
    send("found", left, note="under the seat")
    verdict_now, codes = verdict(left)
    assert verdict_now == "stop"
    assert {"HELD", "NEEDS_TEST"} <= set(codes)


# What cannot be read


@pytest.mark.parametrize("kind", ["checked", "damage", "event", "lost", "found"])
def test_a_record_about_no_item_is_refused_by_name(send, kind):
    with pytest.raises(BadRecord, match="item"):
        send(kind, None)


@pytest.mark.parametrize("event", ["", "melted", 7])
def test_an_event_that_is_none_is_refused_by_name(send, gloves, event):
    with pytest.raises(BadRecord, match="event"):
        send("event", gloves[0], event=event)


@pytest.mark.parametrize(
    "told", [None, {}, {"verdict": "fine"}, {"verdict": "good", "as_of_ms": "now"}, ["good"]]
)
def test_what_the_screen_told_is_kept_only_where_it_can_be_read(send, gloves, told):
    send("event", gloves[0], event="dropped", told=told)
    kept = said(gloves[0]).facts.get("told")
    assert kept == ({"verdict": "good"} if told == {"verdict": "good", "as_of_ms": "now"} else None)
