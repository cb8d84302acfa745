"""The pages of trucks, load lists and walks, as each of the cast sees them."""

import re
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from gear.actions.acting import Act
from inspections.actions.loads import add_class, fit_truck
from inspections.models import LoadList, TruckClass
from inspections.queries import loads
from inspections.rules.loadlist import Line
from tests import builders
from tests.inspections.walking import gear_of_twelve, piece, truck, walked

pytestmark = pytest.mark.django_db


def text_of(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def page(client, name, *keys, **asked):
    answer = client.get(reverse(name, args=keys), asked)
    assert answer.status_code == 200
    return text_of(answer)


def rows_of(*lines, **more):
    """A form set of these lines: (kind, least, size, length, count)."""
    sent = {"form-TOTAL_FORMS": len(lines), "form-INITIAL_FORMS": 0, "id": uuid4(), **more}
    for number, line in enumerate(lines):
        for name, value in zip(("kind", "least", "size", "length_mm", "count"), line, strict=True):
            sent[f"form-{number}-{name}"] = value
    return sent


# Lists
def test_a_foreman_adds_a_class_beginning_with_the_example_and_changes_its_list(cast, client):
    client.force_login(cast.bertrand)
    assert "common practice, no source" in page(client, "load_list_add")
    sent = rows_of(("blanket", "4", "36 x 36 in", "", "5"), ("", "", "", "", ""), name="Bucket truck")
    answer = client.post(reverse("load_list_add"), sent)
    made = TruckClass.objects.get()
    assert answer.url == reverse("load_list", args=[made.pk])
    assert client.post(reverse("load_list_add"), sent).url == answer.url  # sent twice, kept once
    change = rows_of(("blanket", "4", "36 x 36 in", "", "6"), seen=1, reason="longer spans")
    assert client.post(reverse("load_list_change", args=[made.pk]), change).status_code == 302
    told = page(client, "load_list", made.pk)
    assert "Version 2 in force" in told
    assert "Blanket, class 4 or higher, size 36 x 36 in: 6 pieces" in told
    assert "Blanket, class 4 or higher, size 36 x 36 in: 5 pieces" in told
    assert "longer spans" in told
    assert LoadList.objects.count() == 2


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (("blanket", "", "", "", ""), "Say how many."),
        (("blanket", "#2", "", "", "1"), "no such class or cable size"),
        (("blanket", "4", "", "3", "1"), "greater than or equal to 100"),
        (("blanket", "4", "", "", "201"), "less than or equal to 200"),
        (("", "", "", "", ""), "at least one line"),
    ],
)
def test_a_line_that_cannot_be_is_told_beside_it(cast, client, line, says):
    client.force_login(cast.orla)
    answer = client.post(reverse("load_list_add"), rows_of(line, name="Van"))
    assert answer.status_code == 422
    assert says in text_of(answer)
    assert not TruckClass.objects.exists()


def test_a_list_that_was_changed_meanwhile_is_not_overwritten(cast, client):
    client.force_login(cast.orla)
    made = add_class("Van", [Line("blanket", 1)], act=Act(cast.ines))
    old = rows_of(("blanket", "", "", "", "4"), seen=0, reason="")
    answer = client.post(reverse("load_list_change", args=[made.pk]), old)
    assert answer.status_code == 422
    assert "changed the list at the same moment" in text_of(answer)


# Trucks
def test_a_truck_tells_what_it_has_what_it_lacks_and_what_nobody_saw(cast, client):
    gear_of_twelve(2)
    builders.blanket("B-9", at=truck())
    dev = builders.holder("person", "Dev", person=cast.dev)
    builders.issued(*builders.pair("P-1"), to=dev)
    made = add_class("Bucket truck", [Line("blanket", 3, "2")], act=Act(cast.ines))
    fit_truck(truck(), made, act=Act(cast.orla))
    walked(piece("B-1"), piece("B-2", "not_seen"), piece("B-9", verdict="stop"), outcome="stop")
    client.force_login(cast.dev)
    told = page(client, "truck", truck().pk)
    assert "Class Bucket truck, list version 1." in told
    assert "Blanket, class 2 or higher: 3 pieces 2 1" in told
    assert "STOP 2 of 3 seen" in told
    assert "Not seen, and on record here still: B-2" in told
    assert "3 pieces on record with the truck" in told
    assert "New, not tested." in told
    assert "Keep the class" not in told
    assert "Move all of it to another truck" in told
    trucks = page(client, "trucks")
    assert "1 piece was not seen at the last walk" in trucks


def test_a_foreman_gives_a_truck_its_class(cast, client):
    made = add_class("Bucket truck", [Line("blanket", 3, "2")], act=Act(cast.ines))
    address = reverse("truck", args=[truck().pk])
    client.force_login(cast.bertrand)
    sent = {"id": uuid4(), "truck_class": made.pk}
    assert client.post(address, sent).status_code == 302
    assert loads.list_of(truck()).truck_class == made
    assert client.post(address, {"id": uuid4(), "truck_class": "999"}).status_code == 422


# Walks
def test_a_walk_tells_what_was_told_and_what_the_server_said_when_it_arrived(cast, client):
    blanket, *_rest = gear_of_twelve(3)
    builders.happened(blanket, "held", reason="maker's notice")
    kept = walked(
        piece("B-1"), piece("B-2", "not_seen"), piece("", "unknown", "unknown", code="2C4T"), outcome="stop"
    )
    client.force_login(cast.halvard)
    told = page(client, "load_check", kept.pk)
    assert "STOP 1 of 2 seen" in told
    assert "1 aboard is not to be used. 1 was not seen. 1 is on record elsewhere." in told
    assert "The server says worse than what was told B-1" in told
    assert "On record here when this arrived, and not in the data of the phone: B-3" in told
    assert "A record, not a permit" in told
    assert "ALL SEEN" not in told


def test_a_good_walk_says_through_which_day_and_the_caution(cast, client):
    gear_of_twelve(2)
    kept = walked(piece("B-1"), piece("B-2"))
    client.force_login(cast.ines)
    told = page(client, "load_check", kept.pk)
    assert "All 2 seen, each in date and rated for what was entered through" in told
    assert "the qualified person decides" in told


def test_walks_and_trucks_are_listed_newest_first_in_a_constant_number_of_queries(cast, client):
    client.force_login(cast.ines)

    def asked(name, **more):
        with CaptureQueriesContext(connection) as caught:
            told = page(client, name, **more)
        return told, len(caught)

    gear_of_twelve(1)
    walked(piece("B-1"))
    few = {name: asked(name)[1] for name in ("load_checks", "trucks")}
    for number in range(4):
        there = truck(f"T-2{number}")
        builders.blanket(f"C-{number}", at=there)
        walked(piece(f"C-{number}", "not_seen"), outcome="unknown", truck=there.name)
    for name, count in few.items():
        told, queries = asked(name)
        assert queries <= count + 1, name  # one more where pieces are missing at all
        assert "T-23" in told
    told, _count = asked("load_checks")
    assert told.index("T-23") < told.index("T-20") < told.index("T-12")
    assert "T-20" not in asked("load_checks", truck=truck().pk)[0]
