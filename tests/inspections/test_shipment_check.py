"""verify_ledger looks at cartons too: a line that says other than the record is found, whoever changed it."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from gear.actions.acting import Act
from gear.ledger import verify
from inspections import queries
from inspections.actions import reconciling, shipments
from inspections.actions.reconciling import Stated
from inspections.models import Shipment, ShipmentLine
from tests import builders
from tests.inspections import cartons

pytestmark = pytest.mark.django_db


@pytest.fixture
def story(cast):
    """One carton packed, one reconciled with every sort of row, one closed."""
    gloves = cartons.fleet(8).all
    cartons.packed(cast.orla, gloves[0])
    away = cartons.sent(cast.orla, *gloves[1:5])
    cartons.settle(away, gloves[1], by=cast.orla)
    wrong = cartons.settle(away, gloves[2], "missing", by=cast.orla)
    reconciling.correct(wrong.pk, Stated("withdrawn", note="it lies on the bench"), act=Act(cast.orla))
    again = cartons.settle(away, gloves[3], "missing", by=cast.orla)
    reconciling.correct(again.pk, Stated("passed", cartons.shelf(), note="found"), act=Act(cast.orla))
    closed = cartons.sent(cast.orla, gloves[5])
    cartons.settle(closed, gloves[5], by=cast.orla)
    shipments.close(closed.number, act=Act(cast.orla))
    return away


def test_an_honest_story_has_no_problem(story):
    assert list(queries.shipment_problems()) == []
    assert verify.verify() == []


TAMPERED = {
    "has lost its line": lambda lines: lines.filter(item__item_no="G-00005").delete(),
    "differs from its outcome": lambda lines: lines.filter(item__item_no="G-00005").update(open=False),
    "was never sent": lambda lines: lines.filter(item__item_no="G-00005").update(entry=None),
    "differs from its entry": lambda lines: lines.filter(item__item_no="G-00005").update(
        item=builders.glove("G-77777")
    ),
    "is open in a closed shipment": lambda _lines: Shipment.objects.filter(number="L-0002").update(
        state="closed", closed_at=timezone.now()
    ),
}


@pytest.mark.parametrize("why", sorted(TAMPERED))
def test_what_was_changed_behind_the_record_is_found(story, why):
    TAMPERED[why](ShipmentLine.objects.all())
    assert why in " ".join(problem.sentence for problem in verify.verify())


def test_a_fixed_number_of_questions(story, cast, django_assert_num_queries):
    with django_assert_num_queries(3):
        list(queries.shipment_problems())
    cartons.sent(cast.orla, *[builders.glove(f"G-9000{number}") for number in range(6)])
    with django_assert_num_queries(3):
        list(queries.shipment_problems())


def test_the_page_asks_as_many_questions_for_twenty_settled_lines_as_for_two(
    cast, client, django_assert_num_queries
):
    gloves = cartons.fleet(24).all
    few, many = cartons.sent(cast.orla, *gloves[:3]), cartons.sent(cast.orla, *gloves[3:])
    for one, part in ((few, gloves[:2]), (many, gloves[3:23])):
        for item in part:
            cartons.settle(one, item, by=cast.orla)
    client.force_login(cast.orla)
    client.get(reverse("shipment", args=[few.number]))
    counted = []
    for one in (few, many):
        with django_assert_num_queries(counted[0]) if counted else CaptureQueriesContext(connection) as asked:
            client.get(reverse("shipment", args=[one.number]))
        counted.append(len(asked))
