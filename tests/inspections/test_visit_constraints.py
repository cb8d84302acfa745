"""The database itself refuses a visit, row or piece that cannot be, by the name of the constraint."""

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from gear.guards import MESSAGE
from inspections.models import Visit, VisitPiece, VisitRow
from tests import builders

pytestmark = pytest.mark.django_db


def visit(**columns):
    now = timezone.now()
    known = {
        "number": "M-0001",
        "organisation": "Harrow Bay",
        "expected_until": now.date(),
        "started_at": now,
    }
    return Visit.objects.create(**{**known, **columns})


def row(of=None, **columns):
    return VisitRow.objects.create(visit=of or visit(), kept_at=timezone.now(), **{"place": 1, **columns})


def twice():
    of, glove = row(), builders.glove()
    for _one in range(2):
        VisitPiece.objects.create(visit=of.visit, row=of, item=glove)


OFFENDERS = {
    "visit_organisation_named": lambda: visit(organisation=""),
    "visitrow_place_unique": lambda: [row(of) for of in [visit()] * 2],
    "visitrow_look_known": lambda: row(
        look="fine", looked_at=timezone.now(), looked_by=builders.person("clerk")
    ),
    "visitrow_look_has_a_name": lambda: row(look="accept"),
    "visitpiece_once_a_visit": twice,
}
# SQLite names the columns of a broken unique constraint, PostgreSQL its name.
UNIQUE = {
    "visitrow_place_unique": r"visitrow_place_unique|visitrow\.place",
    "visitpiece_once_a_visit": rf"visitpiece_once_a_visit|visitpiece.visit_id|{MESSAGE}",
}


@pytest.mark.parametrize("constraint", OFFENDERS)
def test_what_cannot_be_is_refused_by_name(constraint):
    with pytest.raises(IntegrityError, match=UNIQUE.get(constraint, constraint)), transaction.atomic():
        OFFENDERS[constraint]()


def test_every_constraint_has_its_case():
    named = {one.name for model in (Visit, VisitRow, VisitPiece) for one in model._meta.constraints}
    assert named == set(OFFENDERS)
