"""What arrives late: safest wins in any order, old data that was used is told, closed accounts give no rights."""

from __future__ import annotations

import itertools
import json
from datetime import timedelta
from threading import BoundedSemaphore

import pytest
from django.utils import timezone

from gear import queries
from gear.actions import condition
from gear.actions.acting import Act
from gear.models import Entry, GivenAnswer, Refusal, Submission
from gear.queries.sightings import open_sightings
from gear.queries.stale_uses import open_stale_uses
from inspections.field import sync
from inspections.models import Device
from tests.gear.policy_pages import signed_in
from tests.inspections.fielding import (
    answered,
    at,
    good_pair,
    outcomes,
    phone_of,
    record,
    send,
    tablet_of,
    truck,
)

pytestmark = pytest.mark.django_db


def hours_ago(hours: float) -> str:
    return at(timezone.now() - timedelta(hours=hours))


def glove_of(number: str = ""):
    return good_pair(truck(), tested_on=timezone.localdate() - timedelta(days=30))[0]


def looked(item, hours: float, **fields):
    told = {"verdict": "good", "as_of_ms": 0, "data_age_s": 4 * 3600, "source": "phone"}
    return record("checked", item, outcome="accept", told=told, occurred_at=hours_ago(hours), **fields)


def rejected_look(item, hours: float, **fields):
    return record("damage", item, words=["cut"], occurred_at=hours_ago(hours), **fields)


@pytest.mark.parametrize("earlier", [True, False])
def test_in_whatever_order_phones_send_the_safest_wins(cast, earlier):
    """FEATURES 76: a reject offline against an accept online, earlier and later, in every order of arrival."""
    dev, marisol = phone_of(cast.dev), phone_of(cast.marisol)
    verdicts = set()
    for order in itertools.permutations(range(3)):
        glove = glove_of()
        sendings = [
            (dev, rejected_look(glove, 3 if earlier else 1)),
            (marisol, looked(glove, 2, person="marisol")),
            (marisol, looked(glove, 0.5, person="marisol")),
        ]
        for index in order:
            send(*sendings[index])
        answer = queries.answer(glove.item_no, queries.question())
        verdicts.add((answer.verdict, answer.reasons[0].code))
        assert Entry.objects.filter(item=glove, kind="inspected").count() == 3, "every look is kept"
    assert verdicts == {("stop", "DAMAGED")}


def test_a_look_on_old_data_is_kept_told_to_the_supervisor_and_closed_by_a_note(cast):
    glove = glove_of()
    then = timezone.now() - timedelta(hours=3)
    send(
        phone_of(cast.marisol),
        record("damage", glove, person="marisol", words=["cut"], occurred_at=at(then)),
    )
    assert outcomes(send(phone_of(cast.dev), looked(glove, 2))) == [("recorded", "")]
    (one,) = open_stale_uses(timezone.now())
    assert (one.item, one.look.by, one.answer.verdict) == (glove, cast.dev, "stop")
    assert queries.answer(glove.item_no, queries.question()).verdict == "stop"
    ines = signed_in(cast.ines)
    assert "used-on-old-data" in ines.get("/").content.decode()
    assert (
        "Dev" in ines.get("/used-on-old-data/").content.decode()
        or "dev" in ines.get("/used-on-old-data/").content.decode()
    )
    page = ines.get(f"/used-on-old-data/{glove.item_no}/")
    sent = {
        "id": page.context["form"]["id"].value(),
        "text": "Took it off the truck; the work was done with another pair.",
    }
    assert ines.post(f"/used-on-old-data/{glove.item_no}/", sent).status_code == 302
    assert open_stale_uses(timezone.now()) == []
    assert "used-on-old-data" not in ines.get("/").content.decode()
    assert "Took it off" in ines.get("/used-on-old-data/").content.decode()


def test_what_becomes_known_later_shows_too_and_a_later_failure_does_not(cast):
    first, second = glove_of(), glove_of()
    dev = phone_of(cast.dev)
    send(dev, looked(first, 2), looked(second, 2))
    assert open_stale_uses(timezone.now()) == []
    marisol = phone_of(cast.marisol)
    send(marisol, rejected_look(first, 3, person="marisol"), rejected_look(second, 1, person="marisol"))
    assert [one.item for one in open_stale_uses(timezone.now())] == [first]


def test_a_mate_that_was_cut_makes_the_pair_count_as_used_on_old_data(cast):
    left, right = good_pair(truck(), tested_on=timezone.localdate() - timedelta(days=30))
    send(phone_of(cast.marisol), rejected_look(right, 3, person="marisol"))
    send(phone_of(cast.dev), looked(left, 2))
    assert [one.item for one in open_stale_uses(timezone.now())] == [left]


def test_a_scrapped_piece_that_an_old_phone_called_good_is_told_like_any_other(cast):
    glove = glove_of()
    condition.reject(glove, reason="cut", act=Act(cast.dev))
    act = Act(cast.orla, occurred_at=timezone.now() - timedelta(hours=4))
    condition.destroy(glove, witness=cast.ines, reason="cut up", act=act)
    dev = phone_of(cast.dev)
    send(dev, answered(glove, "good", occurred_at=hours_ago(5)))
    assert open_sightings() == [], "it was shown before the piece was destroyed"
    send(dev, answered(glove, "good", occurred_at=hours_ago(3)))
    (one,) = open_sightings()
    assert one.item == glove
    assert one.newest.verdict == "good"


@pytest.mark.parametrize(
    ("stated", "flag"),
    [(-3 * 24, "OCCURRED_IN_FUTURE"), (60 * 24, "OCCURRED_BEFORE_ENROLMENT")],
)
def test_a_moment_that_cannot_be_counts_as_arrival_and_is_flagged(cast, stated, flag):
    glove, before = glove_of(), timezone.now()
    one = looked(glove, stated)
    assert outcomes(send(phone_of(cast.dev), one)) == [("recorded", "")]
    entry = Entry.objects.get(pk=one["id"])
    assert entry.occurred_at >= before
    assert Submission.objects.get(pk=one["id"]).answer["flags"] == [flag]


@pytest.mark.parametrize(
    "stated",
    ["2026-01-05T10:00", "2026-W01-1T10:00Z", "20260105", "01/02/2026", "", None, 5, "2026-01-05T10:00:60Z"],
)
def test_only_a_moment_with_its_offset_is_read(cast, stated):
    answer = send(phone_of(cast.dev), {**looked(glove_of(), 1), "occurred_at": stated})
    assert outcomes(answer) == [("refused", "BAD_RECORD")]


def test_a_record_is_sent_by_its_own_person_alone(cast):
    glove = glove_of()
    assert outcomes(send(phone_of(cast.dev), looked(glove, 1, person="marisol"))) == [
        ("refused", "OTHER_PERSON")
    ]
    assert not Entry.objects.filter(item=glove, kind="inspected").exists()


def test_damage_that_nobody_confirmed_holds_the_piece_at_once_in_nobodys_name(cast):
    glove = glove_of()
    tablet = tablet_of(cast.depot, cast.pim)
    one = record("damage", glove, words=["cut"], person="dev", proof="nothing")
    for _again in range(2):
        assert outcomes(send(tablet, one))[0][0] == "refused"
    held = Entry.objects.get(item=glove, kind="held")
    assert (held.by, held.device) == (None, "Tablet tablet")
    assert queries.answer(glove.item_no, queries.question()).verdict == "stop"


def test_the_phone_of_a_closed_account_gives_evidence_and_no_rights(cast):
    good, cut = glove_of(), glove_of()
    browser = phone_of(cast.dev)
    cast.dev.is_active = False
    cast.dev.save()
    answer = send(browser, looked(good, 1), rejected_look(cut, 1), answered(good))
    assert outcomes(answer) == [("recorded", "")] * 3
    assert not Entry.objects.filter(kind="inspected").exists()
    assert "after the account was closed" in Entry.objects.get(item=good, kind="noted").facts["note"]
    assert Entry.objects.get(item=cut, kind="held").by is None
    assert GivenAnswer.objects.get().by == cast.dev
    assert browser.get("/truck/bundle/", {"nonce": "a-nonce-of-this-test"}).status_code != 200


def test_the_skew_of_a_phone_is_noted_and_a_busy_server_asks_to_come_again(cast, monkeypatch):
    browser = phone_of(cast.dev)
    ahead = int((timezone.now() + timedelta(days=3)).timestamp() * 1000)
    send(browser, device_now_ms=ahead, unsent=7)
    device = Device.objects.get()
    assert abs(device.skew_s - 3 * 86400) < 60
    assert device.unsent == 7
    monkeypatch.setattr(sync, "_AT_ONCE", BoundedSemaphore(1))
    sync._AT_ONCE.acquire()
    answer = send(browser, answered(None, "unknown"))
    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) >= 2
    assert not GivenAnswer.objects.exists()


def test_a_refused_record_that_is_let_go_stays_on_the_server(cast):
    lost = {"id": "x", "kind": "checked", "item": "G-NOWHERE", "occurred_at": hours_ago(1)}
    one = record("dismissed", record=lost, code="BAD_RECORD", reason="typed the wrong number")
    assert outcomes(send(phone_of(cast.dev), one)) == [("recorded", "")]
    kept = Refusal.objects.get(code="DISMISSED")
    assert "typed the wrong number" in kept.detail
    assert "G-NOWHERE" in kept.detail


@pytest.mark.parametrize("body", ["", "[]", "{", '{"records": 5, "nonce": "n"}', "[" * 100_000])
def test_a_body_that_is_none_is_refused_whole_and_breaks_nothing(cast, body):
    answer = phone_of(cast.dev).post("/truck/sync/", body, content_type="application/json")
    assert answer.status_code == 422


@pytest.mark.parametrize(
    "bad",
    [
        5,
        None,
        {},
        {"told": 5},
        {"item": {}},
        {"item": "G\0"},
        {"kind": "unheard of"},
        {"note": "\ud800"},
        {"checklist": [5]},
        {"id": "\0"},
    ],
)
def test_no_record_is_so_bad_that_the_next_one_waits(cast, bad):
    glove = glove_of()
    one = {**looked(glove, 1), **bad} if isinstance(bad, dict) and bad else bad
    answer = send(phone_of(cast.dev), json.loads(json.dumps(one)), answered(glove))
    first, second = outcomes(answer)
    assert first[0] == "refused"
    assert second == ("recorded", "")
    assert Refusal.objects.filter(act__in=("field_record", "inspect_before_use")).exists()
