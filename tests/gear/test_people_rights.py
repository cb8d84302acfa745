"""Who may manage whom, and that a right taken away is gone with the next request."""

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from gear.actions import people
from gear.actions.acting import Act
from gear.actions.people import Details, PeopleRefused
from gear.api.tokens import digest
from gear.models import ApiToken, Crew, Depot, Holder, Refusal, User
from gear.permissions import NotAllowed
from tests import builders
from tests.gear.people_pages import NEW, PASSWORD, changes, filled, signed_in

pytestmark = pytest.mark.django_db


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
