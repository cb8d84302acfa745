"""The database itself refuses a carton, line, outcome or mapping that cannot be, by the name of the constraint."""

from datetime import timedelta

import pytest
from django.apps import apps
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.utils import timezone

from gear import guards
from inspections.models import LabMapping, Shipment, ShipmentLine, ShipmentOutcome
from tests import builders
from tests.inspections import cartons

pytestmark = pytest.mark.django_db


def carton(**columns):
    now = timezone.now()
    known = {"number": "L-0001", "lab": cartons.lab(), "expected_on": now.date(), "started_at": now}
    return Shipment.objects.create(**{**known, **columns})


def line(of=None, **columns):
    known = {"shipment": of or carton(), "item": builders.glove(), "added_at": timezone.now()}
    return ShipmentLine.objects.create(**{**known, **columns})


def outcome(**columns):
    known = {"shipment": columns.get("shipment") or carton(), "outcome": "passed", "at": timezone.now()}
    return ShipmentOutcome.objects.create(**{**known, **columns})


def about_a_line(**columns):
    of = line()
    return outcome(shipment=of.shipment, line=of, item=of.item, **columns)


def in_two_cartons():
    glove = builders.glove()
    line(item=glove)
    line(carton(number="L-0002"), item=glove)


def twice_in_one_carton():
    of, glove = carton(), builders.glove()
    (entry,) = builders.tested(glove)
    line(of, item=glove, open=False, entry=entry)
    line(of, item=glove)


def settled_twice():
    of = line()
    for _one in range(2):
        outcome(shipment=of.shipment, line=of, item=of.item)


def mapping(**columns):
    known = {"name": "gloves", "version": 1, "lab": cartons.lab(), "content": {}, "made_at": timezone.now()}
    return LabMapping.objects.create(**{**known, **columns})


NOW = timezone.now()
OFFENDERS = {
    "shipment_numbered": lambda: carton(number=""),
    "shipment_state_known": lambda: carton(state="away"),
    "shipment_carton_in_count": lambda: carton(carton=3, cartons=2),
    "shipment_moments_fit_state": lambda: carton(state="sent"),
    "shipmentline_item_in_one_open_line": in_two_cartons,
    "shipmentline_item_once_in_shipment": twice_in_one_carton,
    "shipmentline_settled_was_sent": lambda: line(open=False),
    "shipmentoutcome_known": lambda: about_a_line(outcome="fine"),
    "shipmentoutcome_extra_on_no_line": lambda: about_a_line(outcome="extra"),
    "shipmentoutcome_settles_a_line": lambda: outcome(item=builders.glove()),
    "shipmentoutcome_names_a_piece": lambda: outcome(outcome="extra"),
    "shipmentoutcome_withdraws_a_row": lambda: about_a_line(outcome="withdrawn"),
    "shipmentoutcome_says_what_differs": lambda: about_a_line(outcome="identity_differs"),
    "shipmentoutcome_destruction_has_report": lambda: about_a_line(outcome="rejected_destroyed"),
    "shipmentoutcome_line_settled_once": settled_twice,
    "labmapping_version_once": lambda: [mapping() for _one in range(2)],
    "labmapping_named": lambda: mapping(name=""),
    "labmapping_version_from_one": lambda: mapping(version=0),
}
ON_COLUMNS = {
    "shipment_state_known": "shipment_moments_fit_state",  # PostgreSQL names whichever it meets first
    # SQLite names the columns of a unique key, PostgreSQL the key
    "shipmentline_item_in_one_open_line": "item_id",
    "shipmentline_item_once_in_shipment": "item_id",
    "shipmentoutcome_line_settled_once": "line_id",
    "labmapping_version_once": "version",
}


@pytest.mark.parametrize("name", sorted(OFFENDERS))
def test_what_cannot_be_is_refused_by_name(name):
    # on SQLite what stands in the way of a new piece of evidence is refused by its guard already
    told = f"{name}|{ON_COLUMNS.get(name, name)}|{guards.MESSAGE}"
    with pytest.raises((IntegrityError, DatabaseError), match=told), transaction.atomic():
        OFFENDERS[name]()


def test_every_constraint_of_a_carton_has_a_case():
    names = ("Shipment", "ShipmentLine", "ShipmentOutcome", "LabMapping")
    models = [apps.get_model("inspections", name) for name in names]
    assert {one.name for model in models for one in model._meta.constraints} == set(OFFENDERS)


@pytest.mark.parametrize(
    ("state", "sent", "closed", "possible"),
    [
        ("packing", False, False, True),
        ("packing", True, False, False),
        ("packing", False, True, False),
        ("sent", True, False, True),
        ("sent", False, False, False),
        ("sent", True, True, False),
        ("closed", True, True, True),
        ("closed", False, True, True),  # a carton that stayed empty
        ("closed", True, False, False),
    ],
)
def test_the_moments_of_a_carton_fit_its_state(state, sent, closed, possible):
    moments = {"sent_at": NOW if sent else None, "closed_at": NOW + timedelta(1) if closed else None}
    if possible:
        assert carton(state=state, **moments).pk
    else:
        with pytest.raises(IntegrityError, match="shipment_moments_fit_state"), transaction.atomic():
            carton(state=state, **moments)
    connection.check_constraints()
