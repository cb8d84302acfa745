"""What a phone holds: signed, of its scope, with the answers of today and tomorrow."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from gear import queries
from gear.models import Depot
from tests import builders
from tests.inspections.fielding import NONCE, bundle, good_pair, live, phone_of, tablet_of, truck

NOW = datetime(2026, 6, 15, 16, tzinfo=UTC)  # noon at the site


@pytest.fixture(autouse=True)
def noon():
    with time_machine.travel(NOW, tick=False):
        yield


def test_a_device_that_is_not_enrolled_gets_nothing(cast):
    answer = Client().get("/truck/bundle/", {"nonce": NONCE})
    assert answer.status_code == 409
    assert answer.json()["refused"] == "NO_DEVICE"


def test_a_phone_whose_person_is_not_signed_in_gets_nothing(cast):
    browser = phone_of(cast.dev)
    browser.force_login(cast.marisol)
    answer = browser.get("/truck/bundle/", {"nonce": NONCE})
    assert (answer.status_code, answer.json()["refused"]) == (409, "SIGN_IN")


def test_a_phone_holds_what_its_crew_has_with_the_answer_of_each_day(cast):
    left, right = good_pair(truck(), tested_on=date(2025, 12, 15))
    held = bundle(phone_of(cast.dev))
    rows = {row["no"]: row for row in held["items"]}
    assert set(rows) == {left.item_no, right.item_no}
    row = rows[left.item_no]
    assert [day["on"] for day in held["days"]] == ["2026-06-15", "2026-06-16"]
    for on, told in zip((date(2026, 6, 15), date(2026, 6, 16)), row["answers"], strict=True):
        decided = queries.answer(left.item_no, queries.question(on))
        assert told["verdict"] == decided.verdict
        assert [one["code"] for one in told["reasons"]] == [one.code for one in decided.reasons]
    assert held["person"] == "dev"
    assert held["nonce"] == NONCE


def test_queries_do_not_grow_with_the_pieces_held(cast):
    browser = phone_of(cast.dev)
    counts = []
    for _round in range(2):
        for _more in range(4):
            good_pair(truck(), tested_on=date(2026, 3, 2))
        with CaptureQueriesContext(
            connection,
        ) as made:
            bundle(browser)
        counts.append(len(made))
    assert counts[0] == counts[1]


def test_a_shared_tablet_holds_its_depot_and_the_names_of_its_people(cast):
    left, _right = good_pair(truck(), tested_on=date(2026, 3, 2))
    held = bundle(tablet_of(cast.depot, cast.pim))
    assert left.item_no in {row["no"] for row in held["items"]}
    assert "dev" in {one["username"] for one in held["people"]}
    assert set(held["people"][0]) == {"username", "name", "holder", "role", "crew"}


def test_every_scope_that_is_offered_can_be_held(cast):
    builders.holder("truck", "T-01", depot=Depot.objects.create(name="Ferrow Point"))
    builders.holder("truck", "T-02", crew=cast.crew, depot=cast.depot)
    phone, tablet = phone_of(cast.dev), tablet_of(cast.depot, cast.pim)
    told = {"phone": bundle(phone)["scopes"], "tablet": bundle(tablet)["scopes"]}
    trucks = [{"kind": "truck", "name": "T-02"}]
    depot = [{"kind": "depot", "name": cast.depot.name}]
    assert told == {
        "phone": [{"kind": "crew", "name": cast.crew.name}, *depot, *trucks],
        "tablet": depot + trucks,
    }
    for device, scopes in ((phone, told["phone"]), (tablet, told["tablet"])):
        for one in scopes:
            assert bundle(device, scope=one["kind"], name=one["name"])["scope"] == one


def test_a_person_without_gear_is_told_which_crew_they_belong_to(cast):
    assert [(one["username"], one["crew"]) for one in bundle(phone_of(cast.dev))["people"]] == [
        ("dev", cast.crew.name)
    ]
    assert bundle(phone_of(cast.orla))["people"][0]["crew"] == ""


def test_the_live_answer_is_signed_with_the_number_of_the_question(cast):
    left, _right = good_pair(truck(), tested_on=date(2026, 3, 2))
    told = live(phone_of(cast.dev), left.item_no)
    assert told["nonce"] == NONCE
    assert told["item"]["answers"][0]["verdict"] == "good"
    nothing = live(phone_of(cast.dev), "G-NOWHERE")
    assert nothing["answer"]["verdict"] == "unknown"


def test_a_tablet_of_a_depot_holds_nothing_of_another(cast):
    browser = tablet_of(cast.depot, cast.pim)
    for choice in ({"scope": "all"}, {"scope": "crew", "name": "Crew 7\x00\x00 of nowhere"}):
        answer = browser.get("/truck/bundle/", {"nonce": NONCE, **choice})
        assert (answer.status_code, answer.json()["refused"]) == (409, "NO_SCOPE")
    assert bundle(tablet_of(None, cast.pim, key="anywhere"), scope="all")["scope"]["kind"] == "all"
