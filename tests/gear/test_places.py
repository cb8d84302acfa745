"""Depots, crews, trucks and shelves: their names stand in the record."""

import pytest

from gear.actions import people, places
from gear.actions.acting import Act, Refused
from gear.actions.people import Details
from gear.models import Crew, Depot, Entry, Holder
from tests import builders
from tests.gear.people_pages import signed_in

pytestmark = pytest.mark.django_db


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
