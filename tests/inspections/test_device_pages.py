"""The page about phones and tablets, a PIN of one's own, and a badge."""

import re
from datetime import timedelta

import pytest
from django.contrib.auth.hashers import check_password
from django.test import Client
from django.utils import timezone

from gear.actions.acting import Act
from gear.models import Depot, User
from inspections.actions import devices
from inspections.models import Device
from tests.inspections import fielding

pytestmark = pytest.mark.django_db


def reader(person):
    client = Client()
    client.force_login(person)
    return client


def add(client, name="Tablet 3", depot=None):
    return client.post("/devices/", {"name": name, "depot": depot.pk if depot else ""})


def test_the_code_is_shown_once_and_enrols_the_tablet(cast):
    page = add(reader(cast.orla), depot=cast.depot)
    code = page.context["code"]
    assert re.fullmatch(r"[2-9A-Y]{4}-[2-9A-Y]{4}", code)
    assert page.context["square"].text.endswith(f"/truck/#device/{code.replace('-', '')}")
    assert code not in reader(cast.orla).get("/devices/").content.decode()
    enrolled = Client().post("/truck/enrol/", {"code": code}, content_type="application/json")
    assert enrolled.json()["device"]["name"] == "Tablet 3"


def test_two_devices_never_have_one_name(cast):
    add(reader(cast.orla))
    page = add(reader(cast.orla), name="tablet 3")
    assert page.status_code == 422
    assert "Another device has this name" in page.content.decode()


def test_silent_devices_and_wrong_clocks_are_marked(cast):
    fielding.tablet_of(cast.depot, cast.orla, key="old")
    fielding.tablet_of(cast.depot, cast.orla, key="new")
    Device.objects.filter(name="Tablet old").update(
        last_seen_at=timezone.now() - timedelta(days=4), skew_s=-4000
    )
    Device.objects.filter(name="Tablet new").update(last_seen_at=timezone.now(), unsent=7)
    rows = {row["device"].name: row for row in reader(cast.ines).get("/devices/").context["rows"]}
    assert [(row["stale"], row["skew"]) for row in (rows["Tablet old"], rows["Tablet new"])] == [
        (True, -4000),
        (False, 0),
    ]
    assert rows["Tablet new"]["device"].unsent == 7


def test_the_number_of_queries_does_not_grow(cast, django_assert_max_num_queries):
    client = reader(cast.orla)
    for number in range(8):
        fielding.tablet_of(cast.depot, cast.orla, key=str(number))
    with django_assert_max_num_queries(8):
        client.get("/devices/")


def test_whoever_is_bound_to_a_depot_sees_and_revokes_its_devices_alone(cast):
    fielding.tablet_of(cast.depot, cast.orla)
    tablet = Device.objects.get()
    User.objects.filter(pk=cast.orla.pk).update(depot=Depot.objects.create(name="Upper Clay"))
    cast.orla.refresh_from_db()
    assert reader(cast.orla).get("/devices/").context["rows"] == []
    assert reader(cast.orla).post(f"/devices/{tablet.pk}/", {"do": "revoke"}).status_code == 404
    assert reader(cast.ines).post(f"/devices/{tablet.pk}/", {"do": "revoke"}).status_code == 302
    tablet.refresh_from_db()
    assert tablet.revoked_by == cast.ines


def test_the_auditor_looks_and_changes_nothing(cast):
    fielding.tablet_of(cast.depot, cast.orla)
    page = reader(cast.halvard).get("/devices/").content.decode()
    assert "Tablet tablet" in page
    assert "Revoke" not in page


def test_a_new_code_leaves_the_tablet_working_until_it_is_used(cast):
    tablet = fielding.tablet_of(cast.depot, cast.orla)
    _device, code = devices.new_code(Device.objects.get(), act=Act(cast.orla))
    assert tablet.post("/truck/enrol/", {}, content_type="application/json").status_code == 200
    Client().post("/truck/enrol/", {"code": code}, content_type="application/json")
    assert tablet.post("/truck/enrol/", {}, content_type="application/json").json()["refused"] == "NO_DEVICE"


def test_everybody_chooses_a_pin_with_their_password(cast):
    client = reader(cast.dev)
    wrong = client.post("/my/pin/", {"current": "a guess", "pin": "4071", "again": "4071"})
    assert "This is not your password" in wrong.content.decode()
    right = client.post("/my/pin/", {"current": "dev keeps a secret", "pin": "4071", "again": "4071"})
    assert right.status_code == 302
    assert check_password("4071", User.objects.get(pk=cast.dev.pk).pin)


@pytest.mark.parametrize("pin", ["", "123", "123456789", "0000", "1234", "8765", "1212", "123123", "12a4"])
def test_a_pin_that_is_guessed_at_once_is_refused(cast, pin):
    page = reader(cast.dev).post("/my/pin/", {"current": "dev keeps a secret", "pin": pin, "again": pin})
    assert page.status_code == 200
    assert User.objects.get(pk=cast.dev.pk).pin == ""


def test_a_badge_names_its_person_and_ends_the_one_before(cast):
    client = reader(cast.pim)
    answer = client.post(f"/people/{cast.dev.pk}/badge.pdf")
    assert answer.content.startswith(b"%PDF")
    first = User.objects.get(pk=cast.dev.pk).badge
    assert re.fullmatch(r"B-[2-9A-Y]{11}", first)
    tablet = fielding.tablet_of(cast.depot, cast.orla)
    told = tablet.post("/truck/enrol/", {}, content_type="application/json").json()
    assert {one["username"]: one["badge"] for one in told["people"]}["dev"] == first
    client.post(f"/people/{cast.dev.pk}/badge.pdf")
    assert User.objects.get(pk=cast.dev.pk).badge != first


def test_a_report_with_a_wrong_pin_is_refused_holds_the_piece_and_stops_no_other_record(cast):
    from tests import builders

    glove = builders.glove("G-00001")
    builders.tested(glove)
    tablet = fielding.tablet_of(cast.depot, cast.orla)
    wrong = fielding.record("damage", glove, proof="AAAA", words=["cut"], outcome="reject")
    got = fielding.outcomes(fielding.send(tablet, wrong, fielding.answered(glove, person=None)))
    assert got == [("refused", "PIN_WRONG"), ("recorded", "")]
    held = glove.entry_set.get(kind="held")
    assert (held.by, held.device) == (None, "Tablet tablet")
