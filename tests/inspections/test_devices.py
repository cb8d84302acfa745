"""Phones and tablets: how they become known, who they act for, and how they are barred."""

import base64
import json
from datetime import timedelta
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.contrib.auth.hashers import make_password
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from gear.actions.acting import Act
from gear.ledger import append
from gear.models import Entry, ItemState, Refusal, Submission, User
from gear.permissions import NotAllowed
from inspections.actions import devices
from inspections.field import callers, confirming, sealing, signing
from inspections.field.callers import Caller
from inspections.models import Device
from tests import builders
from tests.inspections.fielding import opened

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard(cast):
    """Dev and Marisol have PINs; Tablet 1 stands in the harbour depot and has a browser."""
    for name, pin in (("dev", "2580"), ("marisol", "97531")):
        User.objects.filter(username=name).update(pin=make_password(pin))
    tablet, code = devices.add_shared("Tablet 1", depot=cast.depot, act=Act(cast.orla))
    client = Client()
    assert post(client, "/truck/enrol/", {"code": code}).status_code == 200
    tablet.refresh_from_db()
    return SimpleNamespace(cast=cast, tablet=tablet, client=client, code=code)


def post(client, address, body, **more):
    return client.post(address, json.dumps(body), content_type="application/json", **more)


def phone_of(person):
    """A browser in which a person signed in and opened the client."""
    client = Client()
    client.force_login(person)
    assert post(client, "/truck/enrol/", {}).status_code == 200
    return client


def proof(person, pin, record_id):
    return sealing.seal(pin.ljust(8), about=confirming.about(record_id, person))


def record(person, pin, **more):
    record_id = str(uuid4())
    return {
        "id": record_id,
        "kind": "damage",
        "person": person,
        "proof": proof(person, pin, record_id),
        **more,
    }


def asked(client, person, pin):
    """What the server says to a name and a PIN, as the tablet asks it."""
    return post(client, "/truck/person/", record(person, pin))


# How a device becomes known


def test_a_code_enrols_one_tablet_once_and_its_key_is_kept_only_as_a_hash(cast):
    tablet, code = devices.add_shared("Tablet 1", depot=cast.depot, act=Act(cast.orla))
    client = Client()
    answer = post(client, "/truck/enrol/", {"code": f"{code[:4].lower()}-{code[4:]}"})
    assert answer.json()["device"] == {"name": "Tablet 1", "kind": "shared", "depot": "Harbour depot"}
    cookie = answer.cookies[callers.COOKIE]
    assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")
    tablet.refresh_from_db()
    assert tablet.digest == devices.digest_of(cookie.value)
    assert not Device.objects.filter(enrol_digest=devices.digest_of(code)).exists()
    again = post(Client(), "/truck/enrol/", {"code": code})
    assert (again.status_code, again.json()["refused"]) == (409, "CODE_WRONG")


def test_a_code_ends_after_a_quarter_of_an_hour(cast):
    tablet, code = devices.add_shared("Tablet 1", depot=cast.depot, act=Act(cast.orla))
    late = timezone.now() + timedelta(minutes=15, seconds=1)
    with pytest.raises(devices.DeviceRefused) as refused:
        devices.enrol_shared(code, address="192.0.2.1", now=late)
    assert refused.value.code == "CODE_WRONG"
    tablet.refresh_from_db()
    assert tablet.enrolled_at is None


def test_codes_are_guessed_slowly(cast):
    codes = [post(Client(), "/truck/enrol/", {"code": "AAAACCCC"}).json()["refused"] for _try in range(12)]
    assert codes.count("CODE_WRONG") <= 2 * devices.CODE_TRIES["address"]
    assert codes[-1] == "TOO_MANY_TRIES"


def test_a_phone_is_known_once_its_person_opens_the_client_and_stays_one_device(cast):
    client = phone_of(cast.dev)
    told = post(client, "/truck/enrol/", {"version": "abc"}).json()
    assert told["person"]["username"] == "dev"
    device = Device.objects.get()
    assert (device.kind, device.person, device.version) == ("own", cast.dev, "abc")


def test_nobody_signed_in_and_no_code_is_no_device(cast):
    answer = post(Client(), "/truck/enrol/", {})
    assert (answer.status_code, answer.json()["refused"]) == (409, "NO_DEVICE")
    assert not Device.objects.exists()


def test_another_person_on_the_same_phone_gets_a_device_of_their_own(cast):
    client = phone_of(cast.dev)
    client.force_login(cast.marisol)
    assert post(client, "/truck/enrol/", {}).json()["person"]["username"] == "marisol"
    assert {device.person for device in Device.objects.all()} == {cast.dev, cast.marisol}


def test_what_was_done_to_devices_stands_on_the_record_of_the_site(yard):
    devices.revoke(yard.tablet, act=Act(yard.cast.ines))
    rows = Entry.objects.filter(kind="person_changed", facts__note__startswith="Tablet 1").order_by(
        "position"
    )
    assert [(row.facts["change"], row.by) for row in rows] == [
        ("device_added", yard.cast.orla),
        ("device_enrolled", None),
        ("device_revoked", yard.cast.ines),
    ]


def test_whoever_is_bound_to_a_depot_manages_its_devices_alone(yard):
    from gear.models import Depot

    yard.cast.orla.depot = Depot.objects.create(name="Upper Clay")
    with pytest.raises(NotAllowed, match="Upper Clay"):
        devices.revoke(yard.tablet, act=Act(yard.cast.orla))
    with pytest.raises(NotAllowed):
        devices.revoke(yard.tablet, act=Act(yard.cast.dev))


# Barred


def test_a_revoked_device_hears_so_and_nothing_else(yard):
    devices.revoke(yard.tablet, act=Act(yard.cast.orla))
    for answer in (post(yard.client, "/truck/enrol/", {}), asked(yard.client, "dev", "2580")):
        assert (answer.status_code, answer.json()["refused"]) == (410, "REVOKED")
        assert answer.headers["Clear-Site-Data"] == '"cache"'


def test_that_a_device_was_revoked_is_signed_for_whoever_asks_with_a_number_of_their_own(yard):
    devices.revoke(yard.tablet, act=Act(yard.cast.orla))
    answer = yard.client.get("/truck/bundle/", {"nonce": "a-nonce-of-this-test"})
    assert answer.status_code == 410
    stated = opened(answer)
    assert (stated["what"], stated["nonce"]) == ("revoked", "a-nonce-of-this-test")
    assert stated["installation"] == signing.installation()
    assert "text" not in yard.client.get("/truck/bundle/").json()


def test_of_a_revoked_device_only_how_much_it_holds_is_kept(yard, rf):
    devices.revoke(yard.tablet, act=Act(yard.cast.orla))
    entries = Entry.objects.count()
    body = {"v": 1, "nonce": "n", "unsent": 3, "records": [record("dev", "2580")]}
    request = rf.post("/truck/sync/", json.dumps(body), content_type="application/json")
    request.COOKIES = {name: morsel.value for name, morsel in yard.client.cookies.items()}
    for _twice in range(2):
        assert callers.checked_sender(request).status_code == 410
    kept = Refusal.objects.get(code="REVOKED")
    assert (kept.subject, kept.detail.endswith(": 3.")) == ("Tablet 1", True)
    assert Entry.objects.count() == entries


def test_what_is_lost_when_somebody_wipes_a_device_is_kept(yard):
    for wiped in (0, "4", True, 4):
        body = {"v": 1, "nonce": "n", "unsent": 0, "wiped": wiped, "records": []}
        assert post(yard.client, "/truck/sync/", body).status_code == 200
    kept = Refusal.objects.get(code="WIPED")
    assert (kept.subject, kept.detail.endswith(": 4.")) == ("Tablet 1", True)


def test_a_revoked_phone_is_enrolled_again_only_after_its_person_gave_the_password(cast):
    client = phone_of(cast.dev)
    devices.revoke(Device.objects.get(), act=Act(cast.pim))
    assert client.get("/find/").status_code in (302, 404)  # the session of whoever found it has ended
    User.objects.filter(pk=cast.dev.pk).update(last_login=timezone.now() - timedelta(hours=1))
    assert post(client, "/truck/enrol/", {}).status_code == 410
    client.login(username="dev", password="dev keeps a secret")
    assert post(client, "/truck/enrol/", {}).status_code == 200


def test_the_phone_of_somebody_who_left_reads_nothing(cast, rf):
    client = phone_of(cast.dev)
    User.objects.filter(pk=cast.dev.pk).update(is_active=False)
    assert post(client, "/truck/person/", {}).status_code == 410
    assert post(client, "/truck/enrol/", {}).status_code == 410


# Whose record it is


def test_the_sealed_pin_opens_for_its_record_and_person_alone():
    sealed = sealing.seal("2580", about=confirming.about("A1", "dev"))
    assert sealing.unseal(sealed, about="a1\ndev") == "2580"
    for about in ("a2\ndev", "a1\nmarisol", ""):
        with pytest.raises(sealing.NotOpened):
            sealing.unseal(sealed, about=about)
    assert sealing.seal("2580", about="x") != sealing.seal("2580", about="x")


@pytest.mark.parametrize(
    "broken", ["", "AAAA", "not base64!", base64.b64encode(bytes(200)).decode(), "A" * 5000]
)
def test_what_is_no_sealed_text_does_not_open(broken):
    with pytest.raises(sealing.NotOpened):
        sealing.unseal(broken, about="x")


def test_a_record_belongs_to_whoever_confirmed_it_on_the_tablet(yard):
    caller = Caller(yard.tablet, None)
    assert confirming.person_of(record("dev", "2580"), caller) == yard.cast.dev
    assert confirming.person_of(record("marisol", "97531"), caller) == yard.cast.marisol


def test_a_proof_serves_no_other_record_and_no_other_person(yard):
    good = record("dev", "2580")
    for changes in (
        {"id": str(uuid4())},
        {"person": "marisol"},
        {"proof": None},
        {"proof": 7},
        {"person": None},
    ):
        with pytest.raises(confirming.Unconfirmed) as refused:
            confirming.person_of({**good, **changes}, Caller(yard.tablet, None))
        assert refused.value.code == "PIN_WRONG"


def test_a_record_that_was_taken_confirms_nothing_but_itself(yard):
    one = record("dev", "2580", kind="lost")
    by = yard.cast.dev
    append(Submission(id=one["id"], by=by, act="field.lost", fingerprint="f" * 64, answer={}))
    known = {"id": one["id"], "person": "dev", "proof": None}
    assert confirming.person_of({**known, "kind": "lost"}, Caller(yard.tablet, None)) == yard.cast.dev
    with pytest.raises(confirming.Unconfirmed):
        confirming.person_of({**known, "kind": "answered"}, Caller(yard.tablet, None))
    assert post(yard.client, "/truck/person/", {**known, "kind": "lost"}).json()["refused"] == "PIN_WRONG"


@pytest.mark.parametrize("name", ["dev\x00", "\ud800"])
def test_a_name_that_no_database_can_look_for_is_nobodys(yard, name):
    assert post(yard.client, "/truck/person/", {"id": str(uuid4()), "person": name}).status_code == 409


def test_unknown_name_no_pin_and_wrong_pin_are_told_alike(yard):
    told = [asked(yard.client, *pair) for pair in (("nobody", "2580"), ("bertrand", "2580"), ("dev", "1593"))]
    assert len({(answer.status_code, answer.content) for answer in told}) == 1
    assert told[0].json()["refused"] == "PIN_WRONG"
    assert asked(yard.client, "dev", "2580").json()["person"]["username"] == "dev"


def test_pins_are_guessed_slowly_and_nobody_is_locked_out(yard):
    for _guess in range(2 * confirming.PERSON_TRIES + 1):
        answer = asked(yard.client, "dev", "1593")
    assert answer.json()["refused"] == "PIN_WAIT"
    assert asked(yard.client, "dev", "2580").json()["refused"] == "PIN_WAIT"
    assert asked(yard.client, "marisol", "97531").status_code == 200


def test_a_right_pin_counts_against_nobody(yard):
    for _record in range(3 * confirming.PERSON_TRIES):
        assert confirming.person_of(record("dev", "2580"), Caller(yard.tablet, None)) == yard.cast.dev


def test_on_an_own_phone_nobody_elses_record_is_taken(cast):
    phone_of(cast.dev)
    caller = Caller(Device.objects.get(), cast.dev)
    assert confirming.person_of({"person": "dev", "proof": None}, caller) == cast.dev
    with pytest.raises(confirming.Unconfirmed) as refused:
        confirming.person_of({"person": "marisol", "proof": None}, caller)
    assert refused.value.code == "OTHER_PERSON"


def test_a_session_on_a_shared_tablet_speaks_for_nobody(yard, rf):
    yard.client.force_login(yard.cast.ines)
    request = rf.get("/truck/bundle/")
    request.COOKIES = {name: morsel.value for name, morsel in yard.client.cookies.items()}
    request.user = yard.cast.ines
    assert callers.caller_of(request).person is None


def test_what_takes_gear_out_of_use_holds_it_before_anybody_confirmed_it(yard):
    glove = builders.glove("G-00001")
    builders.tested(glove)
    wrong = record("dev", "1593", item="G-00001")
    caller = Caller(yard.tablet, None)
    for _twice in range(2):
        held = confirming.held_unconfirmed(wrong, caller)
    assert (held.kind, held.by, held.device) == ("held", None, "Tablet 1")
    assert "Tablet 1" in held.facts["reason"]
    assert Entry.objects.filter(item=glove, kind="held").count() == 1
    assert ItemState.objects.get(item=glove).condition == "held"
    for taken_as_it_is in ({"kind": "moved"}, {"kind": "checked", "outcome": "accept"}):
        assert confirming.held_unconfirmed({**wrong, "id": str(uuid4()), **taken_as_it_is}, caller) is None
    looked = {**wrong, "id": str(uuid4()), "kind": "checked", "outcome": "reject"}
    assert confirming.held_unconfirmed(looked, caller) is not None


# What the database itself refuses


@pytest.mark.parametrize(
    ("columns", "name"),
    [
        ({"kind": "loaned"}, "device_kind_known"),
        ({"name": ""}, "device_named"),
        ({"kind": "own", "person": None}, "device_own_has_person"),
    ],
)
def test_the_database_refuses(cast, columns, name):
    known = {"name": "Tablet 9", "kind": "shared", "added_at": timezone.now(), "added_by": cast.orla}
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        Device.objects.create(**{**known, **columns})
