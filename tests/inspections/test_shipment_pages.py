"""The pages of a carton without a browser: a carton of forty out and back, with one missing and one extra."""

import random
from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from gear.actions.acting import Act
from gear.models import Entry, ItemState
from gear.rules import codes
from inspections import queries
from inspections.actions import shipments
from inspections.models import Shipment, ShipmentOutcome
from inspections.pdf import slip
from tests import builders
from tests.inspections import cartons

pytestmark = pytest.mark.django_db


@pytest.fixture
def orla(cast):
    client = Client()
    client.force_login(cast.orla)
    return client


def page_of(one):
    return reverse("shipment", args=[one.number])


def post(client, one, do, **fields):
    return client.post(page_of(one), {"do": do, "id": str(uuid4()), **fields}, follow=True)


def text(answer):
    return " ".join(answer.content.decode().split())


def back(client, one, piece, outcome="passed", **fields):
    return post(client, one, "back", piece=piece, outcome=outcome, shelf=cartons.shelf().pk, **fields)


def test_a_carton_of_forty_with_one_missing_and_one_extra(cast, orla):
    gloves = cartons.fleet(41).all
    *sent, extra = gloves
    expected = builders.today() + timedelta(days=9)
    started = orla.post(
        reverse("shipments"),
        {
            "id": str(uuid4()),
            "lab": cartons.lab().pk,
            "expected_on": expected.isoformat(),
            "carton": 1,
            "cartons": 1,
        },
    )
    one = Shipment.objects.get()
    assert started.url == page_of(one)
    for glove in sent:
        answer = post(orla, one, "scan", piece=glove.item_no)
    assert "40 pieces." in text(answer)
    assert "Glove, class 2" in text(answer)
    post(orla, one, "send", courier_no="CX 12")
    for glove in sent[:39]:
        answer = back(orla, one, glove.item_no)
    assert "1 line still open" in text(answer)
    assert sent[39].item_no in text(answer)
    answer = back(orla, one, extra.item_no)
    assert f"{extra.item_no} was NOT on the slip" in text(answer)
    answer = post(orla, one, "close")
    assert f"has open lines, so it cannot be closed: {sent[39].item_no}" in text(answer)
    answer = post(orla, one, "missing", item_no=sent[39].item_no)
    assert "Every line is settled." in text(answer)
    assert "39 </span> waiting" in text(answer).replace("<span", " <span").replace(">39<", ">39 <")
    answer = post(orla, one, "close")
    assert f"{one.number} is closed." in text(answer)
    outcomes = ShipmentOutcome.objects.values_list("outcome", flat=True)
    assert {name: list(outcomes).count(name) for name in set(outcomes)} == {
        "passed": 39,
        "missing": 1,
        "extra": 1,
    }
    assert ItemState.objects.get(item=sent[39]).condition == "lost"
    assert Entry.objects.filter(kind="sent_for_test", facts__batch=one.number).count() == 40
    assert Entry.objects.filter(kind="returned", facts__batch=one.number).count() == 40


def test_a_scan_sent_twice_is_kept_once(cast, orla):
    one, glove = cartons.started(cast.orla), cartons.fleet(1).first
    body = {"do": "scan", "id": str(uuid4()), "piece": glove.item_no}
    for _again in range(2):
        assert orla.post(page_of(one), body).status_code == 302
    assert one.lines.count() == 1


@pytest.mark.parametrize("typed", ["G-00001", "g-00001", "its label", "S1"])
def test_a_piece_is_known_by_number_label_or_serial(cast, orla, typed):
    glove = cartons.fleet(1).first
    code = codes.new_code(random.Random(7))
    builders.happened(glove, "labelled", code=code)
    typed = codes.grouped(code) if typed == "its label" else typed
    one = cartons.started(cast.orla)
    assert "G-00001 is in" in text(post(orla, one, "scan", piece=typed))


@pytest.mark.parametrize(
    ("typed", "status", "said"),
    [
        ("G-99999", 404, "Nothing in the book fits G-99999."),
        ("TWIN", 404, "Several pieces have this serial: B-1, B-2."),
        ("", 422, "required"),
    ],
)
def test_what_names_no_single_piece_is_told_beside_the_field(cast, orla, typed, status, said):
    builders.blanket("B-1", serial="TWIN")
    builders.blanket("B-2", serial="TWIN")
    answer = post(orla, cartons.started(cast.orla), "scan", piece=typed)
    assert (answer.status_code, said in text(answer)) == (status, True)


def test_a_refused_scan_says_where_the_piece_is(cast, orla):
    glove = cartons.fleet(1).first
    first, second = cartons.packed(cast.orla, glove), cartons.started(cast.orla)
    answer = post(orla, second, "scan", piece=glove.item_no)
    assert answer.status_code == 422
    assert f"{glove.item_no} is in shipment {first.number} already." in text(answer)


def test_a_scan_into_a_carton_that_was_sent_meanwhile_is_told_as_refused(cast, orla):
    gloves = cartons.fleet(2).all
    one = cartons.sent(cast.orla, gloves[0])
    answer = post(orla, one, "scan", piece=gloves[1].item_no)
    assert answer.status_code == 422
    assert f"{one.number} is not being packed any more." in text(answer)
    assert one.lines.count() == 1


def test_undo_takes_a_piece_out_again(cast, orla):
    glove = cartons.fleet(1).first
    one = cartons.packed(cast.orla, glove)
    assert "out of the carton again" in text(post(orla, one, "undo", item_no=glove.item_no))
    assert not one.lines.exists()


def test_what_stands_on_the_slip_can_be_changed_until_it_is_sent(cast, orla):
    one = cartons.packed(cast.orla, cartons.fleet(1).first)
    fields = {"expected_on": (builders.today() + timedelta(days=3)).isoformat(), "carton": 2, "cartons": 3}
    post(orla, one, "plan", **fields)
    one.refresh_from_db()
    assert (one.carton, one.cartons) == (2, 3)
    assert "cannot be" in text(post(orla, one, "plan", **{**fields, "carton": 4}))


def test_a_piece_that_is_not_ours_is_written_down_by_its_marks(cast, orla):
    one = cartons.sent(cast.orla, cartons.fleet(1).first)
    assert "choose Extra" in text(back(orla, one, "XY 55"))
    assert "in no book" in text(back(orla, one, "XY 55", "extra", read="class 0, left"))
    assert ShipmentOutcome.objects.get().read == "XY 55, class 0, left"


def test_a_destroyed_piece_that_comes_back_alarms(cast, orla):
    ghost = builders.glove("G-66666")
    builders.happened(
        ghost, "destroyed", on=builders.today() - timedelta(days=9), reason="cut", witness="ines"
    )
    one = cartons.sent(cast.orla, cartons.fleet(1).first)
    assert "G-66666 IS RECORDED AS DESTROYED" in text(back(orla, one, "G-66666"))


def test_a_rejected_piece_that_was_on_no_line_is_taken_in_first(cast, orla):
    other = builders.glove("G-66666")
    one = cartons.sent(cast.orla, cartons.fleet(1).first)
    assert "Take it in as extra first." in text(back(orla, one, other.item_no, "rejected_returned"))
    assert ItemState.objects.get(item=other).condition == "ok"


def test_what_ends_a_piece_is_never_chosen_for_the_next_one_but_the_shelf_and_report_stay(cast, orla):
    gloves = cartons.fleet(2).all
    one = cartons.sent(cast.orla, *gloves)
    answer = back(orla, one, gloves[0].item_no, "rejected_returned", report_no="R-5")
    form = answer.context["back"]
    assert form.initial["outcome"] == "passed"
    assert (form.initial["shelf"], form.initial["report_no"]) == (cartons.shelf().pk, "R-5")


@pytest.mark.parametrize(
    ("outcome", "fields"),
    [
        ("rejected_returned", {"shelf": ""}),
        ("rejected_destroyed", {}),
        ("rejected_returned", {"piece": "G-9"}),
    ],
)
def test_what_is_scanned_after_a_refusal_does_not_inherit_what_ends_a_piece(cast, orla, outcome, fields):
    one = cartons.sent(cast.orla, cartons.fleet(1).first)
    body = {"piece": "G-00001", "outcome": outcome, "shelf": cartons.shelf().pk, **fields}
    answer = post(orla, one, "back", **body)
    assert answer.status_code in (404, 422)
    assert answer.context["back"]["outcome"].value() is None


def test_a_row_is_corrected_on_a_page_of_its_own(cast, orla):
    glove = cartons.fleet(1).first
    one = cartons.sent(cast.orla, glove)
    row = cartons.settle(one, glove, "missing", by=cast.orla)
    address = reverse("shipment_row", args=[one.number, row.pk])
    assert orla.get(address).status_code == 200
    fields = {"id": str(uuid4()), "outcome": "passed", "shelf": cartons.shelf().pk}
    assert "required" in text(orla.post(address, fields))
    answer = orla.post(address, {**fields, "note": "under the flap"}, follow=True)
    assert "Corrected. Both rows stay on record." in text(answer)
    assert "<s>Missing</s>" in text(answer)
    assert orla.post(address, {**fields, "id": str(uuid4()), "note": "again"}).status_code == 422


def test_the_list_has_what_is_late_first_and_says_by_how_much(cast, orla):
    gloves = cartons.fleet(3).all
    for glove in gloves:
        cartons.sent(cast.orla, glove)
    cartons.overdue(Shipment.objects.get(number="L-0002"), 6)
    cartons.started(cast.orla)
    answer = text(orla.get(reverse("shipments")))
    assert answer.index("L-0002") < answer.index("L-0001") < answer.index("L-0003") < answer.index("L-0004")
    assert "6 days late" in answer


def test_the_list_asks_as_many_questions_for_nine_cartons_as_for_one(cast, orla, django_assert_num_queries):
    gloves = cartons.fleet(9).all
    cartons.sent(cast.orla, gloves[0])
    with django_assert_num_queries(3):
        queries.shipments()
    for glove in gloves[1:]:
        cartons.sent(cast.orla, glove)
    with django_assert_num_queries(3):
        queries.shipments()


def test_the_auditor_sees_a_carton_and_is_offered_nothing_to_do(cast):
    reader = Client()
    reader.force_login(cast.halvard)
    gloves = cartons.fleet(2).all
    for one in (cartons.packed(cast.orla, gloves[0]), cartons.sent(cast.orla, gloves[1])):
        answer = reader.get(page_of(one))
        assert answer.status_code == 200
        assert "data-scan" not in text(answer)
        assert reader.post(page_of(one), {"do": "close"}).status_code == 403
    assert "Start a carton" not in text(reader.get(reverse("shipments")))


def test_nothing_is_done_under_a_name_that_does_not_exist(cast, orla):
    one = cartons.started(cast.orla)
    assert post(orla, one, "burn").status_code == 404
    assert orla.get(reverse("shipment", args=["L-9999"])).status_code == 404


def test_closed_shipments_are_found_page_by_page(cast, orla, monkeypatch):
    monkeypatch.setattr("inspections.queries.cartons.CLOSED_SHOWN", 2)
    for _one in range(5):
        shipments.close(cartons.started(cast.orla).number, act=Act(cast.orla))
    pages = [text(orla.get(reverse("shipments"), {"page": number})) for number in (1, 2, 3)]
    seen = [[number for number in range(1, 6) if f"L-000{number}" in page] for page in pages]
    assert seen == [[4, 5], [2, 3], [1]]
    assert "Closed before" not in pages[2]
    assert orla.get(reverse("shipments"), {"page": "x"}).status_code == 200


# Paper


def test_the_slip_says_of_every_line_what_the_lab_needs_and_has_a_copy_to_tick(cast):
    glove = builders.glove("G-00001", serial="TX 88")
    builders.happened(glove, "labelled", code="ABCDEFGHJKX")
    builders.happened(glove, "event", event="suspect", note="finger 3")
    one = cartons.packed(cast.orla, glove, carton=2, cartons=3, courier_no="CX 12")
    paper = " ".join(slip.slip_html(queries.carton(one.number)).split())
    for said in (
        "L-0001",
        "2 of 3",
        "The lab",
        "CX 12",
        "G-00001",
        "ABCD-EFGH-JKX",
        "TX 88",
        "Glove, class 2, left",
    ):
        assert said in paper, said
    for said in ("size 10", "360 mm", "needs test", "finger 3", "DRAFT", "Wanted back by"):
        assert said in paper, said
    for said in (
        "Passed",
        "Rejected, returned",
        "Rejected, destroyed",
        "Missing",
        "Extra",
        "Out",
        "In",
        "Back",
    ):
        assert said in paper, said
    assert paper.count('<span class="box">') == 4 + 4 * slip.BLANK_LINES


def test_the_slip_that_was_sent_is_no_draft(cast):
    one = cartons.sent(cast.orla, cartons.fleet(1).first)
    assert "DRAFT" not in slip.slip_html(queries.carton(one.number))


@pytest.mark.parametrize("paper", slip.PAPERS)
def test_the_slip_is_set_on_letter_and_a4(cast, orla, paper):
    one = cartons.sent(cast.orla, *cartons.fleet(3).all)
    answer = orla.get(reverse("shipment_slip", args=[one.number]), {"paper": paper})
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_there_is_no_slip_on_other_paper(cast, orla):
    one = cartons.started(cast.orla)
    assert orla.get(reverse("shipment_slip", args=[one.number]), {"paper": "a3"}).status_code == 404
