"""The JSON interface: one shape for errors, each write exactly once, nothing read loosely."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from gear.api.tokens import digest
from gear.models import ApiToken, Entry, Refusal, Submission
from tests import builders

pytestmark = pytest.mark.django_db
YESTERDAY = (timezone.now() - timedelta(days=2)).date()


@pytest.fixture
def pair():
    left, right = builders.pair()
    builders.tested(left, right, on=date.today() - timedelta(days=40))  # noqa: DTZ011  any recent day will do
    return left, right


def client_of(user) -> APIClient:
    client = APIClient()
    client.force_login(user)
    return client


def a_test(item_no: str, **changes) -> dict:
    return {
        "client_uuid": str(uuid.uuid4()),
        "item_no": item_no,
        "tested_on": YESTERDAY.isoformat(),
        "purpose": "in_service",
        "supply": "ac",
        "applied_v": 20000,
        "seconds": 60,
        "leakage_ma": "9.8",
        "visual": "accept",
        "breakdown": False,
        "flashover": False,
        **changes,
    }


def test_an_answer_has_the_fields_of_the_command(cast, pair):
    answer = client_of(cast.dev).get(f"/api/v1/items/{pair[0].item_no}/answer/").json()
    assert answer["verdict"] == "good"
    assert answer["max_use_v"] == 17000
    assert set(answer) == {
        "item_no", "kind", "class", "verdict", "good_through", "winning_clock", "clocks", "reasons", "max_use_v",
        "as_of", "known_at", "rule_pack",
    }  # fmt: skip


def test_an_item_that_is_not_in_the_book_is_unknown_and_never_an_error(cast):
    response = client_of(cast.dev).get("/api/v1/items/G-NONE/answer/")
    assert (response.status_code, response.json()["verdict"]) == (200, "unknown")


def test_many_answers_take_a_constant_number_of_queries(cast, django_assert_max_num_queries):
    client, url = client_of(cast.dev), "/api/v1/answers/"
    few = [one.item_no for one in builders.pair()]
    many = few + [one.item_no for _ in range(10) for one in builders.pair()]
    client.get(url, {"item": few})
    with django_assert_max_num_queries(20) as taken:
        assert len(client.get(url, {"item": few}).json()) == 2
    with django_assert_max_num_queries(len(taken)):
        assert len(client.get(url, {"item": many}).json()) == len(many)


def test_a_test_is_logged_once_however_often_it_is_sent(cast, pair):
    client, sent = client_of(cast.orla), a_test(pair[0].item_no)
    first = client.post("/api/v1/tests/", sent)
    again = client.post("/api/v1/tests/", sent)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert first.json()["outcome"] == "accepted"
    assert Entry.objects.filter(pk=sent["client_uuid"]).count() == 1


def test_the_same_id_with_other_content_is_refused(cast, pair):
    client, sent = client_of(cast.orla), a_test(pair[0].item_no)
    client.post("/api/v1/tests/", sent)
    response = client.post("/api/v1/tests/", {**sent, "leakage_ma": "9.9"})
    assert (response.status_code, response.json()["error"]["code"]) == (422, "id_reused")
    assert Submission.objects.count() == 1


def test_the_id_of_another_person_tells_nothing(cast, pair):
    sent = {"client_uuid": str(uuid.uuid4()), "act": "hold", "reason": "doubt"}
    url = f"/api/v1/items/{pair[0].item_no}/acts/"
    client_of(cast.dev).post(url, sent)
    assert client_of(cast.marisol).post(url, sent).status_code == 422


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("leakage_ma", "-1"),
        ("leakage_ma", "NaN"),
        ("leakage_ma", "1e3"),
        ("leakage_ma", "١٢"),
        ("leakage_ma", True),
        ("applied_v", "20000 V"),
        ("applied_v", -5),
        ("tested_on", "20260105"),
        ("tested_on", "2026-W01-1"),
        ("breakdown", "on"),
        ("breakdown", 1),
        ("visual", "pass"),
        ("supply", "AC"),
        ("outcome", "accepted"),
        ("recorded_at", "2026-01-01T00:00:00Z"),
    ],
)
def test_a_value_that_is_not_plain_is_refused_by_name(cast, pair, field, value):
    response = client_of(cast.orla).post("/api/v1/tests/", a_test(pair[0].item_no, **{field: value}))
    assert response.status_code == 400
    assert list(response.json()["error"]["fields"]) == [field]
    assert not Submission.objects.exists()


@pytest.mark.parametrize("body", [b'{"a": NaN}', b'{"a": 1, "a": 2}', b"[" * 100_000, b"\xff", b"[]"])
def test_a_body_that_is_not_one_clear_object_is_refused(cast, body):
    response = client_of(cast.orla).generic("POST", "/api/v1/tests/", body, content_type="application/json")
    assert response.status_code == 400
    assert set(response.json()["error"]) == {"code", "message", "fields"}


def test_a_worker_may_not_log_a_test(cast, pair):
    response = client_of(cast.dev).post("/api/v1/tests/", a_test(pair[0].item_no))
    assert (response.status_code, response.json()["error"]["code"]) == (403, "permission_denied")
    assert Refusal.objects.filter(by=cast.dev).exists()


def test_nobody_gets_in_without_a_token_or_a_session():
    response = APIClient().get("/api/v1/items/")
    assert response.status_code == 401
    assert set(response.json()["error"]) == {"code", "message", "fields"}


def test_a_token_acts_for_its_person_until_it_is_revoked(cast, pair):
    secret = "a-bench-program"
    token = ApiToken.objects.create(
        person=cast.orla, name="bench-1", digest=digest(secret), made_at=timezone.now()
    )
    client = APIClient(HTTP_AUTHORIZATION=f"Token {secret}")
    assert client.post("/api/v1/tests/", a_test(pair[0].item_no)).status_code == 201
    token.revoked_at = timezone.now()
    token.save()
    assert client.get("/api/v1/items/").status_code == 401


def test_a_hold_stops_the_item_and_its_own_hand_cannot_release_it(cast, pair):
    url = f"/api/v1/items/{pair[0].item_no}/acts/"
    held = client_of(cast.ines).post(
        url, {"client_uuid": str(uuid.uuid4()), "act": "hold", "reason": "recall"}
    )
    answer = client_of(cast.dev).get(f"/api/v1/items/{pair[0].item_no}/answer/").json()
    assert (answer["verdict"], answer["reasons"][0]["code"]) == ("stop", "HELD")
    released = {"client_uuid": str(uuid.uuid4()), "act": "release", "hold": held.json()["entries"][0]["id"],
                "reason": "checked"}  # fmt: skip
    response = client_of(cast.ines).post(url, released)
    assert (response.status_code, response.json()["error"]["code"]) == (422, "OWN_HOLD")
    assert Refusal.objects.filter(code="OWN_HOLD").count() == 1


def test_a_blocked_item_goes_to_a_shelf_but_to_nobodys_hands(cast, pair):
    client, shelf, truck = (
        client_of(cast.orla),
        builders.holder("shelf", "Rejects"),
        builders.holder("truck", "T-01"),
    )
    client_of(cast.dev).post(
        f"/api/v1/items/{pair[0].item_no}/acts/",
        {"client_uuid": str(uuid.uuid4()), "act": "reject", "reason": "cut"},
    )
    move = {"act": "move", "items": [pair[0].item_no]}
    to_truck = client.post("/api/v1/moves/", {**move, "client_uuid": str(uuid.uuid4()),
                                              "to": {"kind": "truck", "name": truck.name}})  # fmt: skip
    to_shelf = client.post("/api/v1/moves/", {**move, "client_uuid": str(uuid.uuid4()),
                                              "to": {"kind": "shelf", "name": shelf.name}})  # fmt: skip
    assert (to_truck.status_code, to_truck.json()["error"]["code"]) == (422, "NOT_GOOD")
    assert to_shelf.status_code == 201


def test_history_shows_every_entry_with_its_hash(cast, pair):
    lines = client_of(cast.halvard).get(f"/api/v1/items/{pair[0].item_no}/history/").json()["results"]
    assert [line["position"] for line in lines] == list(range(1, len(lines) + 1))
    assert all(
        after["previous_hash"] == before["hash"] for before, after in zip(lines, lines[1:], strict=False)
    )


def test_the_schema_and_its_page_can_be_read(cast):
    client = client_of(cast.halvard)
    assert b"/api/v1/tests/" in client.get("/api/v1/schema/").content
    assert b"/api/v1/moves/" in client.get("/api/v1/").content
