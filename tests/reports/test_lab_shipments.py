"""The Monday report names every shipment that is still open, as of its day, and what is missing from it."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from gear.actions.acting import Act
from gear.queries import question_in
from inspections import queries
from inspections.actions import reconciling, shipments
from inspections.actions.reconciling import Stated
from inspections.models import Shipment, ShipmentOutcome
from reports import queries as reads
from reports.pdf import weekly_html
from reports.rules.overdue import Scope
from reports.wording import Weekly, as_json
from tests import builders
from tests.inspections import cartons

pytestmark = pytest.mark.django_db


def told(scope=None, day=""):
    report = reads.overdue_report(question_in(day), scope=scope or Scope())
    return " ".join(weekly_html(Weekly(report, {}, reads.lab_shipments(report.heading), None)).split())


def now():
    return queries.awaited(as_of=builders.today(), at=timezone.now())


@pytest.fixture
def late(cast):
    """Two pieces of three are settled, one of them missing; six days past the day it was expected."""
    gloves = cartons.fleet(3).all
    one = cartons.sent(cast.orla, *gloves)
    cartons.settle(one, gloves[0], by=cast.orla)
    cartons.settle(one, gloves[1], "missing", by=cast.orla)
    cartons.overdue(one, 6)
    return one


def test_an_open_shipment_is_told_with_what_is_late_open_and_missing(late):
    (row,) = now()
    assert (row.number, row.lab, row.pieces, row.open, row.days_late) == ("L-0001", "The lab", 3, 1, 6)
    assert row.missing == ("G-00002",)
    paper = told()
    for said in ("Lab shipments still open", "L-0001", "6 days late", "1 of 3", "G-00002"):
        assert said in paper, said


def test_the_page_and_the_print_say_so_where_none_is_open(cast):
    client = Client()
    client.force_login(cast.ines)
    sentence = "No shipment is open: nothing of ours is with a lab."
    assert sentence in told()
    assert sentence in client.get(reverse("overdue_report")).content.decode()


def test_the_page_leads_to_the_shipment(cast, late):
    client = Client()
    client.force_login(cast.ines)
    assert (
        f'href="{reverse("shipment", args=[late.number])}"'
        in client.get(reverse("overdue_report")).content.decode()
    )


def test_a_closed_shipment_is_gone_and_one_that_is_packed_was_never_there(cast, late):
    last = late.lines.get(open=True).item
    cartons.settle(late, last, by=cast.orla)
    shipments.close(late.number, act=Act(cast.orla))
    cartons.packed(cast.orla, last)
    assert now() == []


def test_the_longest_awaited_comes_first(cast, late):
    sooner = cartons.sent(cast.orla, builders.glove("G-90001"))
    assert [row.number for row in now()] == [late.number, sooner.number]


def test_a_past_monday_is_told_as_it_was(cast, late):
    """What was settled since then was open on that day, and what was sent since then was not there."""
    then = timezone.now() - timedelta(days=7)
    Shipment.objects.filter(pk=late.pk).update(sent_at=then - timedelta(days=1))
    (row,) = queries.awaited(as_of=builders.today() - timedelta(days=7), at=then)
    assert (row.open, row.missing, row.days_late) == (3, (), 0)
    assert queries.awaited(as_of=builders.today() - timedelta(days=30), at=then - timedelta(days=23)) == []


def test_a_line_that_was_opened_again_is_open_and_a_corrected_one_is_not_missing(cast, late):

    wrong = ShipmentOutcome.objects.get(outcome="missing")
    reconciling.correct(wrong.pk, Stated("withdrawn", note="it lies on the bench"), act=Act(cast.orla))
    (row,) = now()
    assert (row.open, row.missing) == (2, ())


def test_it_is_no_business_of_a_crew_and_no_part_of_the_contract_for_programs(cast, late):
    assert "Lab shipments" not in told(Scope("crew", "Crew 7"))
    assert "L-0001" in told(Scope("depot", "Harbour depot"))
    report = reads.overdue_report(question_in(""), scope=Scope())
    assert set(as_json(report)) == {"as_of", "rule_pack", "totals", "usable_now", "off_the_road", "due_soon"}


def test_three_questions_whatever_is_open(cast, late, django_assert_num_queries):
    for number in range(4):
        cartons.sent(cast.orla, builders.glove(f"G-9000{number}"))
    with django_assert_num_queries(3):
        assert len(now()) == 5
