"""People are added and changed on pages of their own, and every change is kept without a secret in it."""

from datetime import date

import pytest
from django.contrib.auth.hashers import check_password
from django.test import Client

from gear.actions import people
from gear.actions.acting import Act
from gear.actions.people import Details, PeopleRefused
from gear.ledger import Draft, record
from gear.models import Crew, Depot, Entry, Holder, Qualification, Refusal, User
from gear.queries.people import qualification_on
from tests import builders
from tests.gear.people_pages import NEW, PASSWORD, changes, filled, signed_in

pytestmark = pytest.mark.django_db


# Adding


def test_a_supervisor_adds_a_worker_who_can_sign_in_and_hold_gear(cast):
    sent = {**NEW, "crew": cast.crew.pk, "has_gear": "on", "password": PASSWORD, "again": PASSWORD}
    answer = signed_in(cast.ines).post("/people/new/", sent)
    tomas = User.objects.get(username="tomas")
    assert answer.url == f"/people/{tomas.pk}/"
    assert (tomas.role, tomas.crew, tomas.is_staff, tomas.is_superuser) == ("worker", cast.crew, False, False)
    assert (tomas.holder.kind, tomas.holder.name, tomas.holder.crew) == ("person", "Tomas Vale", cast.crew)
    assert tomas.holder.depot == cast.depot
    assert Client().login(username="tomas", password=PASSWORD)
    assert changes(tomas) == [("added", "role: worker", "ines")]


def test_a_person_without_a_password_cannot_sign_in(cast):
    signed_in(cast.pim).post("/people/new/", NEW)
    assert not User.objects.get(username="tomas").has_usable_password()
    assert not Client().login(username="tomas", password="")


@pytest.mark.parametrize(
    ("sent", "field", "said"),
    [
        ({"username": "ORLA"}, "username", "taken"),
        ({"username": "to mas"}, "username", "letters, digits"),
        ({"username": ""}, "username", "required"),
        ({"password": "short", "again": "short"}, "password", "too short"),
        (
            {"first_name": "Bartholomew", "password": "bartholomew1", "again": "bartholomew1"},
            "password",
            "similar",
        ),
        ({"password": PASSWORD, "again": PASSWORD + "!"}, "again", "not the same"),
        ({"role": "king"}, "role", "valid choice"),
        ({"email": "at sea"}, "email", "valid email"),
        ({"crew": "99999"}, "crew", "valid choice"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(cast, sent, field, said):
    answer = signed_in(cast.pim).post("/people/new/", {**NEW, **sent})
    assert answer.status_code == 200
    assert said in " ".join(answer.context["form"].errors[field])
    assert not User.objects.filter(username__iexact="tomas").exists()


def test_two_people_who_hold_gear_cannot_share_a_name(cast):
    for username in ("tomas", "tomas2"):
        answer = signed_in(cast.pim).post("/people/new/", {**NEW, "username": username, "has_gear": "on"})
    assert "middle initial" in " ".join(answer.context["form"].errors["has_gear"])
    assert not User.objects.filter(username="tomas2").exists()


def test_gear_imported_under_a_name_is_that_persons_once_they_are_added(cast):
    imported = builders.holder("person", "Tomas Vale")
    added = people.add(
        "tomas", details=Details(first_name="Tomas", last_name="Vale", has_gear=True), act=Act(None)
    )
    assert added.holder == imported


@pytest.mark.parametrize("username", ["", "a b", "x" * 151, "semi;colon"])
def test_a_username_that_cannot_be_typed_is_refused(cast, username):
    with pytest.raises(PeopleRefused, match="letters, digits"):
        people.add(username, details=Details(), act=Act(cast.pim))
    assert Refusal.objects.get().code == "USERNAME_WRONG"


# Passwords and PINs


def test_one_chooses_a_password_of_ones_own_and_stays_signed_in(cast):
    here, elsewhere = signed_in(cast.halvard), signed_in(cast.halvard)
    elsewhere.get("/my/password/")
    sent = {"current": "halvard keeps a secret", "password": PASSWORD, "again": PASSWORD}
    assert here.post("/my/password/", sent).status_code == 302
    assert here.get("/my/password/").status_code == 200
    assert elsewhere.get("/my/password/").status_code == 302
    assert changes(cast.halvard) == [("password_set", "", "halvard")]


def test_a_wrong_current_password_changes_nothing_and_is_kept(cast):
    sent = {"current": "a guess", "password": PASSWORD, "again": PASSWORD}
    answer = signed_in(cast.dev).post("/my/password/", sent)
    assert "not your password" in " ".join(answer.context["form"].errors["current"])
    assert Client().login(username="dev", password="dev keeps a secret")
    assert Refusal.objects.get().code == "WRONG_PASSWORD"


@pytest.mark.parametrize(
    ("pin", "code"),
    [
        ("407", "PIN_DIGITS"),
        ("407182936", "PIN_DIGITS"),
        ("40a1", "PIN_DIGITS"),
        ("४०७१", "PIN_DIGITS"),
        ("7777", "PIN_TOO_EASY"),
        ("1234", "PIN_TOO_EASY"),
        ("87654321", "PIN_TOO_EASY"),
    ],
)
def test_a_pin_that_is_none_or_guessed_at_once_is_refused(cast, pin, code):
    with pytest.raises(PeopleRefused) as refusal:
        people.set_pin(cast.dev, pin=pin, act=Act(cast.ines))
    assert refusal.value.code == code


@pytest.mark.parametrize("pin", ["4071", "40718293"])
def test_a_pin_is_kept_as_a_hash_and_shown_nowhere(cast, pin):
    client = signed_in(cast.ines)
    client.post(f"/people/{cast.dev.pk}/pin/", {"pin": pin, "again": pin})
    cast.dev.refresh_from_db()
    assert pin not in cast.dev.pin
    assert check_password(pin, cast.dev.pin)
    for address in (f"/people/{cast.dev.pk}/", f"/people/{cast.dev.pk}/pin/"):
        page = client.get(address).content.decode()
        assert pin not in page
        assert cast.dev.pin not in page
    assert changes(cast.dev) == [("pin_set", "", "ines")]


def test_a_pin_can_be_taken_away(cast):
    people.set_pin(cast.dev, pin="4071", act=Act(cast.ines))
    signed_in(cast.ines).post(f"/people/{cast.dev.pk}/pin/", {"pin": "", "again": ""})
    cast.dev.refresh_from_db()
    assert cast.dev.pin == ""
    assert [change for change, *_rest in changes(cast.dev)] == ["pin_set", "pin_removed"]


def test_no_secret_and_no_address_stands_in_the_record(cast):
    act = Act(cast.pim)
    tomas = people.add("tomas", details=Details(email="tomas@example.org"), password=PASSWORD, act=act)
    people.change(tomas, details=Details(email="vale@example.org", first_name="Tomas"), act=act)
    people.set_password(tomas, password=PASSWORD + " again", act=act)
    people.set_pin(tomas, pin="4071", act=act)
    record = str(list(Entry.objects.values_list("facts", flat=True)))
    for secret in (PASSWORD, "4071", "example.org", tomas.password, User.objects.get(pk=tomas.pk).pin):
        assert secret not in record
    assert changes(tomas)[1] == ("changed", "first_name; email", "pim")


def test_a_username_never_changes(cast):
    signed_in(cast.pim).post(
        f"/people/{cast.dev.pk}/edit/", filled(cast.dev, username="devon", first_name="Devon")
    )
    cast.dev.refresh_from_db()
    assert (cast.dev.username, cast.dev.first_name) == ("dev", "Devon")


def test_what_a_form_does_not_ask_is_not_taken(cast):
    extra = {"is_superuser": "on", "is_staff": "on", "is_active": "", "pin": "4071", "username": "devon"}
    signed_in(cast.ines).post(f"/people/{cast.dev.pk}/edit/", filled(cast.dev, last_name="Rowan", **extra))
    cast.dev.refresh_from_db()
    assert (cast.dev.is_superuser, cast.dev.is_staff, cast.dev.is_active, cast.dev.pin) == (
        False,
        False,
        True,
        "",
    )
    assert cast.dev.last_name == "Rowan"


def test_saving_without_a_change_enters_nothing(cast):
    signed_in(cast.pim).post(f"/people/{cast.dev.pk}/edit/", filled(cast.dev))
    assert changes(cast.dev) == []


def test_an_entry_that_fails_takes_the_change_with_it(cast, monkeypatch):
    def broken(*_args, **_kwargs):
        raise OSError("disk full")

    monkeypatch.setattr(people, "record", broken)
    with pytest.raises(OSError, match="disk full"):
        people.deactivate(cast.dev, reason="left", act=Act(cast.ines))
    cast.dev.refresh_from_db()
    assert cast.dev.is_active


@pytest.mark.parametrize("address", ["/people/", "/crews/", "/depots/", "/holders/"])
def test_a_list_asks_the_database_as_often_for_many_rows_as_for_few(
    cast, address, django_assert_max_num_queries
):
    def rows(count):
        for _one in range(count):
            number = Depot.objects.count()
            depot = Depot.objects.create(name=f"Depot {number}")
            crew = Crew.objects.create(name=f"Crew {100 + number}", depot=depot)
            Holder.objects.create(kind="truck", name=f"T-{number}", crew=crew, depot=depot)
            details = Details(first_name=f"Worker {number}", crew=crew, has_gear=True)
            people.add(f"worker{number}", details=details, act=Act(None))

    client = signed_in(cast.pim)
    rows(2)
    with django_assert_max_num_queries(12) as few:
        client.get(address)
    rows(10)
    with django_assert_max_num_queries(len(few)):
        client.get(address)


@pytest.mark.parametrize("words", ["dev", "CREW 7", "crew dev", "harbour"])
def test_people_are_found_by_name_crew_or_depot(cast, words):
    assert "dev" in signed_in(cast.pim).get("/people/", {"q": words}).content.decode()


def test_words_that_match_nobody_say_so(cast):
    assert "Nobody matches" in signed_in(cast.pim).get("/people/", {"q": "xyzzy\x00"}).content.decode()


@pytest.mark.parametrize(
    ("day", "standing"),
    [
        ("2025-12-31", "expired"),
        ("2026-01-01", "current"),
        ("2026-12-31", "current"),
        ("2027-01-01", "expired"),
    ],
)
def test_a_qualification_counts_from_its_first_day_through_its_last(day, standing):
    orla = builders.person("clerk", "orla")
    assert qualification_on(orla, date.fromisoformat(day)) == "not_on_file"
    entry = record(
        Draft(None, "person_changed", {"person": "orla", "change": "qualified"}), by=None, via="system"
    )
    Qualification.objects.create(
        person=orla, from_on=date(2026, 1, 1), until_on=date(2026, 12, 31), entry=entry
    )
    assert qualification_on(orla, date.fromisoformat(day)) == standing
