"""Who may manage whom, what is kept of it, and that a right taken away is gone with the next request."""

import pytest
from django.contrib.auth.hashers import check_password
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from gear.actions import people, places
from gear.actions.acting import Act, Refused
from gear.actions.people import Details, PeopleRefused
from gear.api.tokens import digest
from gear.models import ApiToken, Crew, Depot, Entry, Holder, Refusal, User
from gear.permissions import NotAllowed
from tests import builders

PASSWORD = "brackish water rises twice"
pytestmark = pytest.mark.django_db


def signed_in(person):
    client = Client()
    client.force_login(person)
    return client


def changes(person):
    return [
        (entry.facts["change"], entry.facts["note"], entry.by.username if entry.by else None)
        for entry in Entry.objects.filter(kind="person_changed", facts__person=person.username).order_by(
            "position"
        )
    ]


def filled(person, **values):
    """The form of a person as the page would send it back, with some values changed."""
    details = people.details_of(person)
    sent = {
        "first_name": details.first_name,
        "last_name": details.last_name,
        "email": details.email,
        "role": details.role,
        "crew": details.crew.pk if details.crew else "",
        "depot": details.depot.pk if details.depot else "",
    }
    if details.has_gear:
        sent["has_gear"] = "on"
    return {**sent, **values}


NEW = {"username": "tomas", "first_name": "Tomas", "last_name": "Vale", "role": "worker"}


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


# Who may manage whom: (who acts, whose role, from depot) -> may

MAY_MANAGE = [
    ("pim", "administrator", True),
    ("pim", "supervisor", True),
    ("pim", "worker", True),
    ("ines", "administrator", False),
    ("ines", "supervisor", True),
    ("ines", "auditor", True),
    ("ines", "clerk", True),
    ("ines", "foreman", True),
    ("ines", "worker", True),
    ("orla", "worker", False),
    ("bertrand", "worker", False),
    ("dev", "worker", False),
    ("halvard", "worker", False),
]


@pytest.mark.parametrize(("name", "role", "may"), MAY_MANAGE)
def test_who_may_add_whom(cast, name, role, may):
    act = Act(getattr(cast, name))
    if may:
        assert people.add("tomas", details=Details(role=role), act=act).role == role
        return
    with pytest.raises(NotAllowed):
        people.add("tomas", details=Details(role=role), act=act)
    assert not User.objects.filter(username="tomas").exists()
    assert Refusal.objects.get().by == act.by


@pytest.mark.parametrize(("name", "role", "may"), MAY_MANAGE)
@pytest.mark.parametrize("verb", ["change", "deactivate", "reactivate", "set_password", "set_pin"])
def test_who_may_change_whom(cast, verb, name, role, may):
    other = people.add("tomas", details=Details(role=role), act=Act(None))
    if verb == "reactivate":
        User.objects.filter(pk=other.pk).update(is_active=False)
    arguments = {
        "change": {"details": Details(role=role, first_name="Tomas")},
        "deactivate": {"reason": "left"},
        "reactivate": {"reason": "back"},
        "set_password": {"password": PASSWORD},
        "set_pin": {"pin": "4071"},
    }[verb]
    act = Act(getattr(cast, name))
    before = User.objects.filter(pk=other.pk).values().get()
    if may:
        getattr(people, verb)(other, **arguments, act=act)
    else:
        with pytest.raises(NotAllowed):
            getattr(people, verb)(other, **arguments, act=act)
    assert (User.objects.filter(pk=other.pk).values().get() != before) is may


@pytest.mark.parametrize("role", ["administrator", "worker"])
def test_nobody_changes_their_own_role(cast, role):
    with pytest.raises(PeopleRefused, match="their own role"):
        people.change(cast.ines, details=Details(role="worker"), act=Act(cast.ines))
    signed_in(cast.ines).post(f"/people/{cast.ines.pk}/edit/", filled(cast.ines, role=role))
    cast.ines.refresh_from_db()
    assert cast.ines.role == "supervisor"


def test_a_supervisor_does_not_free_himself_from_his_depot(cast):
    cast.ines.depot = cast.depot
    cast.ines.save()
    with pytest.raises(PeopleRefused, match="their own role, crew or depot"):
        people.change(cast.ines, details=Details(role="supervisor"), act=Act(cast.ines))


def test_a_supervisor_makes_nobody_administrator(cast):
    with pytest.raises(NotAllowed, match="Only an administrator"):
        people.change(cast.dev, details=Details(role="administrator"), act=Act(cast.ines))
    answer = signed_in(cast.ines).post(f"/people/{cast.dev.pk}/edit/", filled(cast.dev, role="administrator"))
    assert answer.context["form"].errors["role"]
    cast.dev.refresh_from_db()
    assert cast.dev.role == "worker"


@pytest.mark.parametrize("page", ["edit", "password", "pin", "active"])
def test_the_pages_about_an_administrator_are_closed_to_a_supervisor(cast, page):
    client = signed_in(cast.ines)
    assert client.get(f"/people/{cast.pim.pk}/{page}/").status_code == 403
    assert (
        client.post(f"/people/{cast.pim.pk}/{page}/", {"reason": "x", "password": PASSWORD}).status_code
        == 403
    )


def test_the_last_administrator_stays(cast):
    act = Act(None)
    with pytest.raises(PeopleRefused, match="last administrator"):
        people.change(cast.pim, details=Details(role="worker"), act=act)
    with pytest.raises(PeopleRefused, match="last administrator"):
        people.deactivate(cast.pim, reason="left", act=act)
    people.add("sela", details=Details(role="administrator"), act=act)
    changed = people.change(cast.pim, details=Details(role="worker"), act=act)
    assert (changed.is_staff, changed.is_superuser) == (False, False)


def test_nobody_deactivates_themselves(cast):
    with pytest.raises(PeopleRefused, match="deactivates themselves"):
        people.deactivate(cast.ines, reason="tired", act=Act(cast.ines))


# Bound to a depot


@pytest.fixture
def other_depot(cast):
    """Upper Clay with a crew of its own, and Ines bound to the Harbour depot."""
    cast.ines.depot = cast.depot
    cast.ines.save()
    clay = Depot.objects.create(name="Upper Clay")
    crew = Crew.objects.create(name="Crew 21", depot=clay, phone="555-0121")
    worker = people.add(
        "rasmus", details=Details(first_name="Rasmus", crew=crew, has_gear=True), act=Act(None)
    )
    return clay, crew, worker, Holder.objects.create(kind="truck", name="T-21", crew=crew, depot=clay)


def test_a_bound_supervisor_sees_nobody_of_another_depot(cast, other_depot):
    clay, crew, worker, truck = other_depot
    client = signed_in(cast.ines)
    pages = "".join(
        client.get(address).content.decode()
        for address in ("/people/", "/people/?q=rasmus", "/crews/", "/depots/", "/holders/", "/people/new/")
    )
    for hidden in ("Rasmus", "Crew 21", "555-0121", "T-21", "Upper Clay"):
        assert hidden not in pages.replace("“rasmus”", "")
    for address in (
        reverse("person_edit", args=[worker.pk]),
        reverse("person_password", args=[worker.pk]),
        reverse("crew_edit", args=[crew.pk]),
        reverse("depot_edit", args=[clay.pk]),
        reverse("holder_edit", args=[truck.pk]),
    ):
        assert client.get(address).status_code == 404
        assert client.post(address, {}).status_code == 404
    assert client.get(reverse("person", args=[worker.pk])).status_code == 404


def test_the_auditor_and_the_administrator_see_everybody(cast, other_depot):
    for reader in (cast.halvard, cast.pim):
        assert "Rasmus" in signed_in(reader).get("/people/").content.decode()


def test_a_bound_supervisor_sends_nobody_to_another_depot(cast, other_depot):
    clay, crew, *_rest = other_depot
    for details in (Details(depot=clay), Details(crew=crew), Details()):
        with pytest.raises(NotAllowed, match="Harbour depot only"):
            people.add("tomas", details=details, act=Act(cast.ines))
    sent = {**NEW, "crew": crew.pk}
    assert signed_in(cast.ines).post("/people/new/", sent).context["form"].errors["crew"]
    assert signed_in(cast.ines).post("/people/new/", NEW).context["form"].errors["depot"]


# At once


def test_a_deactivated_person_is_out_with_the_next_request(cast):
    client = signed_in(cast.dev)
    assert client.get("/my/password/").status_code == 200
    people.deactivate(cast.dev, reason="left the co-operative", act=Act(cast.ines))
    assert client.get("/my/password/").url == "/login/?next=/my/password/"
    assert not Client().login(username="dev", password="dev keeps a secret")
    assert changes(cast.dev) == [("deactivated", "left the co-operative", "ines")]


def test_an_old_session_does_not_come_back_with_its_owner(cast):
    client = signed_in(cast.dev)
    client.get("/my/password/")
    people.deactivate(cast.dev, reason="left", act=Act(cast.ines))
    people.reactivate(cast.dev, reason="came back", act=Act(cast.ines))
    assert client.get("/my/password/").status_code == 302
    assert Client().login(username="dev", password="dev keeps a secret")


def test_a_token_of_somebody_who_left_opens_nothing_even_when_they_come_back(cast):
    ApiToken.objects.create(person=cast.dev, name="bench", digest=digest("0" * 64), made_at=timezone.now())
    program = Client(headers={"Authorization": "Token " + "0" * 64})
    assert program.get("/api/v1/items/").status_code == 200
    people.deactivate(cast.dev, reason="left", act=Act(cast.ines))
    assert program.get("/api/v1/items/").status_code == 401
    people.reactivate(cast.dev, reason="came back", act=Act(cast.ines))
    assert program.get("/api/v1/items/").status_code == 401


def test_other_peoples_sessions_go_on(cast):
    client = signed_in(cast.marisol)
    client.get("/my/password/")
    people.deactivate(cast.dev, reason="left", act=Act(cast.ines))
    assert client.get("/my/password/").status_code == 200


def test_a_new_password_ends_every_session_of_its_person(cast):
    client = signed_in(cast.dev)
    client.get("/my/password/")
    signed_in(cast.ines).post(f"/people/{cast.dev.pk}/password/", {"password": PASSWORD, "again": PASSWORD})
    assert client.get("/my/password/").status_code == 302
    assert Client().login(username="dev", password=PASSWORD)
    assert not Client().login(username="dev", password="dev keeps a secret")


def test_a_changed_role_counts_with_the_next_request(cast):
    client = signed_in(cast.dev)
    assert client.get("/people/").status_code == 403
    people.change(cast.dev, details=Details(role="supervisor"), act=Act(cast.pim))
    assert client.get("/people/").status_code == 200
    assert changes(cast.dev) == [("changed", "role: worker -> supervisor; crew: Crew 7 -> -", "pim")]


def test_a_deactivated_person_is_handed_no_more_gear_and_keeps_what_they_have_on_record(cast):
    tomas = people.add("tomas", details=Details(first_name="Tomas", has_gear=True), act=Act(None))
    left, right = builders.pair()
    builders.issued(left, right, to=tomas.holder)
    people.deactivate(tomas, reason="left", act=Act(cast.ines))
    assert not Holder.objects.get(person=tomas).active
    assert "2 pieces in their hands" in signed_in(cast.ines).get(f"/people/{tomas.pk}/").content.decode()
    people.reactivate(tomas, reason="back", act=Act(cast.ines))
    assert Holder.objects.get(person=tomas).active


def test_somebody_who_signs_in_through_two_people_at_once_is_told_what_was_done_already(cast):
    people.deactivate(cast.dev, reason="left", act=Act(cast.ines))
    answer = signed_in(cast.pim).post(
        f"/people/{cast.dev.pk}/active/", {"reason": "left", "wanted": "inactive"}
    )
    assert "done already" in answer.content.decode()
    cast.dev.refresh_from_db()
    assert not cast.dev.is_active


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


# Depots, crews, trucks and shelves


def noted():
    return list(
        Entry.objects.filter(kind="person_changed")
        .order_by("position")
        .values_list("facts__change", "facts__note")
    )


def test_depots_crews_and_holders_are_added_with_an_entry_each(cast):
    client = signed_in(cast.pim)
    client.post("/depots/new/", {"name": "Upper Clay"})
    clay = Depot.objects.get(name="Upper Clay")
    client.post("/crews/new/", {"name": "Crew 21", "depot": clay.pk, "phone": "555-0121"})
    crew = Crew.objects.get(name="Crew 21")
    client.post("/holders/new/", {"kind": "truck", "name": "T-21", "crew": crew.pk})
    truck = Holder.objects.get(kind="truck", name="T-21")
    assert (crew.depot, crew.phone, truck.depot, truck.active) == (clay, "555-0121", clay, True)
    assert noted() == [
        ("depot_added", "Upper Clay"),
        ("crew_added", "Crew 21; depot: Upper Clay"),
        ("holder_added", "truck T-21; crew: Crew 21; depot: Upper Clay"),
    ]


@pytest.mark.parametrize(
    ("address", "sent"),
    [
        ("/depots/new/", {"name": "HARBOUR depot"}),
        ("/crews/new/", {"name": "crew 7"}),
        ("/holders/new/", {"kind": "truck", "name": "t-01"}),
    ],
)
def test_a_name_that_is_taken_is_refused_beside_its_field(cast, address, sent):
    builders.holder("truck", "T-01")
    answer = signed_in(cast.pim).post(address, sent)
    assert "taken" in " ".join(answer.context["form"].errors["name"])


def test_a_name_that_stands_in_the_record_is_not_changed(cast):
    client = signed_in(cast.pim)
    for address, sent in (
        (f"/depots/{cast.depot.pk}/", {"name": "Harbor depot"}),
        (f"/crews/{cast.crew.pk}/", {"name": "Crew seven", "depot": cast.depot.pk}),
    ):
        assert "in the record already" in " ".join(client.post(address, sent).context["form"].errors["name"])
    unused = places.add_depot("Uper Clay", act=Act(cast.pim))
    client.post(f"/depots/{unused.pk}/", {"name": "Upper Clay"})
    unused.refresh_from_db()
    assert unused.name == "Upper Clay"
    assert noted()[-1] == ("depot_renamed", "Uper Clay -> Upper Clay")


def test_a_crews_phone_is_changed_and_not_written_into_the_record(cast):
    sent = {"name": "Crew 7", "depot": cast.depot.pk, "phone": "555-0107"}
    signed_in(cast.ines).post(f"/crews/{cast.crew.pk}/", sent)
    cast.crew.refresh_from_db()
    assert cast.crew.phone == "555-0107"
    assert noted() == [("crew_changed", "Crew 7; phone")]


def test_a_holder_with_gear_stays_in_use(cast):
    truck = builders.holder("truck", "T-01")
    builders.blanket(at=truck)
    client = signed_in(cast.pim)
    answer = client.post(f"/holders/{truck.pk}/", {"crew": cast.crew.pk})
    assert "Move it first" in " ".join(answer.context["form"].errors["active"])
    empty = builders.holder("truck", "T-02")
    client.post(f"/holders/{empty.pk}/", {"crew": cast.crew.pk, "depot": cast.depot.pk})
    empty.refresh_from_db()
    assert not empty.active
    assert noted() == [("holder_changed", "truck T-02; active: True -> -")]


def test_a_person_is_no_place(cast):
    tomas = people.add("tomas", details=Details(has_gear=True), act=Act(None))
    with pytest.raises(Refused, match="their own page"):
        places.change_holder(tomas.holder, crew=None, depot=None, active=True, act=Act(cast.pim))
    with pytest.raises(Refused, match="their own page"):
        places.add_holder("person", name="Nobody", crew=None, depot=None, act=Act(cast.pim))
    assert signed_in(cast.pim).get(f"/holders/{tomas.holder.pk}/").status_code == 404


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
