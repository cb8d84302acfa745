"""Reconcile a carton: six outcomes, what each does to the piece, and that nothing is made good by the lab's word."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear import queries as gear_queries
from gear.actions.acting import Act
from gear.models import Entry, ItemState, Refusal
from gear.permissions import NotAllowed
from inspections import queries
from inspections.actions import reconciling, shipments
from inspections.actions.reconciling import Stated
from inspections.actions.shipments import ShipmentRefused
from inspections.models import Shipment, ShipmentLine, ShipmentOutcome
from inspections.rules.shipping import OF_A_LINE
from tests import builders
from tests.inspections import cartons

pytestmark = pytest.mark.django_db


def refused(code):
    return pytest.raises(ShipmentRefused, check=lambda error: error.code == code)


def state_of(item):
    return ItemState.objects.select_related("holder").get(item=item)


def verdict_of(item):
    return gear_queries.answer(item.item_no, gear_queries.question()).verdict


def kinds_after(item, position):
    return [entry.kind for entry in item.entry_set.filter(position__gt=position).order_by("position")]


@pytest.fixture
def glove(cast):
    return cartons.fleet(1).first


@pytest.fixture
def carton(cast, glove):
    return cartons.sent(cast.orla, glove)


OUTCOMES = {
    # outcome: (what is stated with it, entries it makes, condition and holder kind afterwards)
    "passed": ({}, ["returned"], ("out_for_test", "shelf")),
    "rejected_returned": ({}, ["returned", "rejected"], ("rejected", "shelf")),
    "rejected_destroyed": ({"report_no": "R-77"}, ["rejected", "noted"], ("rejected", "lab")),
    "missing": ({}, ["lost"], ("lost", "lab")),
    "identity_differs": ({"read": "serial S9, class 3"}, ["returned", "held"], ("held", "shelf")),
}


@pytest.mark.parametrize("outcome", OF_A_LINE)
def test_each_outcome_settles_the_line_with_its_entries(cast, carton, glove, outcome):
    stated, entries, after = OUTCOMES[outcome]
    before = glove.entry_set.count()
    row = cartons.settle(carton, glove, outcome, by=cast.orla, **stated)
    state = state_of(glove)
    assert kinds_after(glove, before) == entries
    assert (state.condition, state.holder.kind) == after
    assert (row.outcome, row.by, row.line.open) == (outcome, cast.orla, False)
    assert verdict_of(glove) == "stop"
    assert all(
        carton.number in str(entry.facts)
        for entry in glove.entry_set.filter(position__gt=before).exclude(kind="noted")
    )


@pytest.mark.parametrize(
    ("stated", "code"),
    [
        (Stated("passed"), "NO_SHELF"),
        (Stated("rejected_returned"), "NO_SHELF"),
        (Stated("rejected_destroyed"), "NO_REPORT"),
        (Stated("extra"), "NO_SUCH_OUTCOME"),
        (Stated("withdrawn"), "NO_SUCH_OUTCOME"),
    ],
)
def test_what_an_outcome_needs_must_be_stated(cast, carton, glove, stated, code):
    with refused(code):
        reconciling.settle(carton.number, glove, stated, act=Act(cast.orla))
    assert not ShipmentOutcome.objects.exists()
    assert Refusal.objects.get().code == code


def test_marks_that_differ_are_written_down_as_read(cast, carton, glove):
    with refused("NOT_READ"):
        cartons.settle(carton, glove, "identity_differs", by=cast.orla)
    with refused("NO_SHELF"):
        cartons.settle(carton, glove, "identity_differs", by=cast.orla, shelf=cartons.lab(), read="class 3")


def test_passed_makes_nothing_good_and_says_so_until_a_test_is_accepted(cast, carton, glove):
    cartons.settle(carton, glove, by=cast.orla)
    assert queries.carton(carton.number).lines[0].result == "waiting"
    assert verdict_of(glove) == "stop"
    # a test that was accepted before the sending, imported late, changes nothing
    builders.tested(glove, on=builders.today() - timedelta(days=3))
    assert queries.carton(carton.number).lines[0].result == "waiting"


@pytest.mark.parametrize(
    ("outcome", "result"), [("accepted", "accepted"), ("void", "waiting"), ("failed", "rejected")]
)
def test_only_the_accepted_test_of_the_lab_brings_a_piece_back(cast, carton, glove, outcome, result):
    sent_on = builders.today() - timedelta(days=2)
    again = builders.glove("G-55555")
    earlier = Shipment.objects.create(
        number="L-0900", lab=cartons.lab(), expected_on=sent_on, started_at=carton.started_at,
        state="sent", sent_at=carton.sent_at,
    )  # fmt: skip
    entry = builders.happened(
        again, "sent_for_test", on=sent_on, holder=cartons.lab().as_fact(), batch="L-0900"
    )
    ShipmentLine.objects.create(shipment=earlier, item=again, added_at=carton.started_at, entry=entry)
    cartons.settle(earlier, again, by=cast.orla)
    codes = [{"code": "BREAKDOWN"}] if outcome == "failed" else []
    builders.tested(again, on=builders.today() - timedelta(days=1), outcome=outcome, codes=codes)
    assert queries.carton("L-0900").lines[0].result == result
    assert (state_of(again).condition == "ok") is (outcome == "accepted")


def test_a_line_is_settled_once_and_corrected_by_a_later_row_that_names_it(cast, carton, glove):
    wrong = cartons.settle(carton, glove, "missing", by=cast.orla)
    with refused("ALREADY_SETTLED"):
        cartons.settle(carton, glove, by=cast.orla)
    right = reconciling.correct(
        wrong.pk, Stated("passed", cartons.shelf(), note="under the flap"), act=Act(cast.orla)
    )
    assert right.corrects == wrong
    assert ShipmentOutcome.objects.count() == 2
    # what was reported lost is thereby found: held, and beyond its old test
    assert (state_of(glove).condition, state_of(glove).holder.kind) == ("held", "shelf")
    with refused("CORRECTED_BEFORE"):
        reconciling.correct(wrong.pk, Stated("missing"), act=Act(cast.orla))
    with refused("SAME_OUTCOME"):
        reconciling.correct(right.pk, Stated("passed", cartons.shelf()), act=Act(cast.orla))


def test_correcting_the_row_of_a_rejected_piece_does_not_bring_it_back(cast, carton, glove):
    wrong = cartons.settle(carton, glove, "rejected_returned", by=cast.orla)
    reconciling.correct(wrong.pk, Stated("passed", cartons.shelf("Other shelf")), act=Act(cast.orla))
    assert state_of(glove).condition == "rejected"


def test_a_line_settled_by_mistake_is_opened_again_and_the_piece_is_with_the_lab(cast, carton, glove):
    wrong = cartons.settle(carton, glove, by=cast.orla)
    reconciling.correct(wrong.pk, Stated("withdrawn", note="the next glove was meant"), act=Act(cast.orla))
    assert (state_of(glove).condition, state_of(glove).holder.kind) == ("out_for_test", "lab")
    with refused("OPEN_LINES"):
        shipments.close(carton.number, act=Act(cast.orla))
    assert cartons.settle(carton, glove, by=cast.orla).corrects.outcome == "withdrawn"


def test_a_line_is_not_opened_again_while_the_piece_is_in_another_carton(cast, carton, glove):
    wrong = cartons.settle(carton, glove, by=cast.orla)
    cartons.packed(cast.orla, glove)
    with refused("GOES_BY_OTHER"):
        reconciling.correct(wrong.pk, Stated("withdrawn"), act=Act(cast.orla))


def test_a_shipment_with_an_open_line_cannot_be_closed_and_closing_twice_closes_once(cast):
    gloves = cartons.fleet(3).all
    one = cartons.sent(cast.orla, *gloves)
    for glove in gloves[:2]:
        cartons.settle(one, glove, by=cast.orla)
    with pytest.raises(ShipmentRefused, match=gloves[2].item_no):
        shipments.close(one.number, act=Act(cast.orla))
    cartons.settle(one, gloves[2], "missing", by=cast.orla)
    closed = shipments.close(one.number, act=Act(cast.orla))
    again = shipments.close(one.number, act=Act(cast.orla))
    assert (again.state, again.closed_at) == ("closed", closed.closed_at)
    late = ShipmentOutcome.objects.get(outcome="missing")
    with refused("SHIPMENT_CLOSED"):
        reconciling.correct(late.pk, Stated("withdrawn"), act=Act(cast.orla))
    assert (
        reconciling.correct(late.pk, Stated("passed", cartons.shelf()), act=Act(cast.orla)).line.open is False
    )


def test_a_carton_that_was_not_sent_has_nothing_to_reconcile_nor_can_it_be_closed_full(cast, glove):
    one = cartons.packed(cast.orla, glove)
    with refused("NOT_SENT"):
        cartons.settle(one, glove, by=cast.orla)
    with refused("OPEN_LINES"):
        shipments.close(one.number, act=Act(cast.orla))


# What came back and was on no line


@pytest.fixture
def extra():
    glove = builders.glove("G-77777", at=builders.holder("truck", "T-12"))
    builders.tested(glove, on=builders.today() - timedelta(days=30))
    return glove


def test_a_piece_of_ours_that_was_on_no_line_is_taken_in_and_noted(cast, carton, extra):
    before = extra.entry_set.count()
    row = reconciling.take_extra(carton.number, extra, shelf=cartons.shelf(), act=Act(cast.orla))
    assert kinds_after(extra, before) == ["returned", "noted"]
    assert (row.outcome, row.line, state_of(extra).holder.name) == ("extra", None, "Back shelf")
    with refused("ALREADY_SETTLED"):
        reconciling.take_extra(carton.number, extra, shelf=cartons.shelf(), act=Act(cast.orla))


def test_an_extra_piece_needs_a_shelf_and_a_line_is_never_extra(cast, carton, glove, extra):
    with refused("NO_SHELF"):
        reconciling.take_extra(carton.number, extra, shelf=None, act=Act(cast.orla))
    with refused("ALREADY_SETTLED"):
        reconciling.take_extra(carton.number, glove, shelf=cartons.shelf(), act=Act(cast.orla))
    with refused("NOT_ON_SLIP"):
        cartons.settle(carton, extra, "rejected_returned", by=cast.orla)


def test_a_piece_that_went_out_with_another_carton_is_settled_there(cast, carton, extra):
    other = cartons.sent(cast.orla, extra)
    with pytest.raises(ShipmentRefused, match=other.number):
        reconciling.take_extra(carton.number, extra, shelf=cartons.shelf(), act=Act(cast.orla))


def test_a_lost_piece_that_comes_back_extra_is_found_and_held(cast, carton, extra):
    builders.happened(extra, "lost", on=builders.today() - timedelta(days=2), reason="not on the truck")
    reconciling.take_extra(carton.number, extra, shelf=cartons.shelf(), act=Act(cast.orla))
    assert state_of(extra).condition == "held"


def test_a_destroyed_piece_that_comes_back_is_written_down_and_stays_destroyed(cast, carton, extra):
    builders.happened(extra, "destroyed", reason="cut up", witness="ines")
    before = extra.entry_set.count()
    reconciling.take_extra(carton.number, extra, shelf=cartons.shelf(), act=Act(cast.orla))
    assert kinds_after(extra, before) == ["noted"]
    assert state_of(extra).condition == "destroyed"


def test_a_piece_that_nobody_knows_is_written_down_by_its_marks(cast, carton):
    with refused("NOT_READ"):
        reconciling.write_down(carton.number, read=" ", act=Act(cast.orla))
    row = reconciling.write_down(carton.number, read="class 2, serial 9X, left", act=Act(cast.orla))
    assert (row.item, row.read) == (None, "class 2, serial 9X, left")


@pytest.mark.parametrize("known", [True, False])
def test_an_extra_written_down_by_mistake_can_only_be_taken_back(cast, carton, extra, known):
    if known:
        row = reconciling.take_extra(carton.number, extra, shelf=cartons.shelf(), act=Act(cast.orla))
    else:
        row = reconciling.write_down(carton.number, read="class 2", act=Act(cast.orla))
    with refused("EXTRA_ONLY_WITHDRAWN"):
        reconciling.correct(row.pk, Stated("missing"), act=Act(cast.orla))
    reconciling.correct(row.pk, Stated("withdrawn", note="scanned twice"), act=Act(cast.orla))
    assert queries.carton(carton.number).extras == ()


# All or nothing, and by whom


@pytest.mark.parametrize("outcome", OF_A_LINE)
def test_a_failure_in_the_middle_of_settling_settles_nothing(cast, carton, glove, monkeypatch, outcome):
    entries = Entry.objects.count()

    def breaks(*_args, **_kwargs):
        raise RuntimeError("the disk is gone")

    monkeypatch.setattr(ShipmentLine, "save", breaks)
    with pytest.raises(RuntimeError, match="disk"):
        cartons.settle(carton, glove, outcome, by=cast.orla, **OUTCOMES[outcome][0])
    assert Entry.objects.count() == entries
    assert not ShipmentOutcome.objects.exists()
    assert ShipmentLine.objects.get().open


@pytest.mark.parametrize("name", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_the_clerk_reconciles_and_closes(cast, carton, glove, name):
    with pytest.raises(NotAllowed):
        cartons.settle(carton, glove, by=getattr(cast, name))
    with pytest.raises(NotAllowed):
        shipments.close(carton.number, act=Act(getattr(cast, name)))


def test_the_page_of_a_carton_asks_as_many_questions_for_forty_lines_as_for_four(
    cast, django_assert_num_queries
):
    gloves = cartons.fleet(44).all
    few, many = cartons.sent(cast.orla, *gloves[:4]), cartons.sent(cast.orla, *gloves[4:])
    for one, item in ((few, gloves[0]), (many, gloves[10]), (many, gloves[11])):
        cartons.settle(one, item, by=cast.orla)
    for one in (few, many):
        with django_assert_num_queries(3):
            found = queries.carton(one.number)
            assert [line.item.item_type.kind for line in found.lines]


def test_sending_asks_as_many_questions_for_forty_pieces_as_for_four(cast):
    gloves = cartons.fleet(44).all
    counts = []
    for part in (gloves[:4], gloves[4:]):
        one = cartons.packed(cast.orla, *part)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            shipments.send(one.number, act=Act(cast.orla))
        counts.append(len(asked))
    assert counts[0] == counts[1]
