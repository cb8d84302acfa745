"""What phones send: each record once, with its own outcome, at its true time."""

from datetime import timedelta

import pytest
from django.utils import timezone

from gear.models import Entry, GivenAnswer, ItemState, Refusal
from tests.inspections.fielding import answered, at, good_pair, outcomes, phone_of, record, send, truck

pytestmark = pytest.mark.django_db


@pytest.fixture
def glove(cast):
    return good_pair(truck(), tested_on=timezone.localdate() - timedelta(days=30))[0]


def test_an_answer_that_was_shown_is_kept_once_with_its_true_time(cast, glove):
    browser = phone_of(cast.dev)
    shown = timezone.now() - timedelta(hours=5)
    one = answered(glove, occurred_at=at(shown))
    assert outcomes(send(browser, one)) == [("recorded", "")]
    assert outcomes(send(browser, one)) == [("already", "")]
    kept = GivenAnswer.objects.get()
    assert (kept.by, kept.item, kept.verdict, kept.data_age_s) == (cast.dev, glove, "good", 3600)
    assert abs(kept.shown_at - shown) < timedelta(milliseconds=1)


def test_a_look_before_use_is_recorded_once(cast, glove):
    browser = phone_of(cast.dev)
    one = record("checked", glove, outcome="accept", words=[], on=timezone.localdate().isoformat())
    assert outcomes(send(browser, one)) == [("recorded", "")]
    assert outcomes(send(browser, one)) == [("already", "")]
    assert Entry.objects.filter(kind="inspected", via="field").count() == 1


def test_what_takes_gear_out_of_use_holds_it_though_the_record_cannot_be_read(cast, glove):
    unread = [record("event", glove, event="melted"), record("damage", glove, occurred_at="yesterday")]
    assert outcomes(send(phone_of(cast.dev), *unread)) == [("refused", "BAD_RECORD")] * 2
    assert {entry.by for entry in Entry.objects.filter(item=glove, kind="held")} == {None}
    assert ItemState.objects.get(item=glove).condition == "held"
    looked = record("checked", glove, outcome="accept", occurred_at="yesterday")
    send(phone_of(cast.dev), looked)
    assert Entry.objects.filter(item=glove, kind="held").count() == 2


def test_one_bad_record_stops_no_other_and_is_kept_as_it_was(cast, glove):
    bad = {"id": "no-uuid", "kind": "checked", "occurred_at": "yesterday"}
    answer = send(phone_of(cast.dev), bad, answered(glove))
    assert outcomes(answer) == [("refused", "BAD_RECORD"), ("recorded", "")]
    assert "no-uuid" in Refusal.objects.get(act="field_record").detail
