"""The whole book answered at once: every item, whatever is wrong with one of them, and as the single answer says."""

from datetime import date

import pytest

from gear.models import Entry, ItemState
from gear.queries import answers, fleet, question_in
from gear.rules import readiness
from tests import builders

pytestmark = pytest.mark.django_db

TODAY, THEN = "", "2025-06-30"


@pytest.fixture
def book(db):
    """A pair in Dev's hands, a blanket on a truck, and one on a shelf."""
    left, right = builders.pair()
    on_truck = builders.blanket("B-truck", at=builders.holder("truck", "T-12"))
    on_shelf = builders.blanket("B-shelf")
    builders.tested(left, right, on_truck, on_shelf, on=date(2025, 3, 3))
    builders.issued(left, right, on=date(2025, 3, 4))
    return [left.item_no, right.item_no, "B-shelf", "B-truck"]


def told(as_of=TODAY):
    return {answer.item_no: (answer, facts) for answer, facts in fleet(question_in(as_of))}


@pytest.mark.parametrize("as_of", [TODAY, THEN, "2024-06-30", "2030-01-01"])
def test_it_answers_as_the_single_answers_do(book, as_of):
    singles = {answer.item_no: answer for answer in answers(book, question_in(as_of))}
    assert {item_no: answer for item_no, (answer, _facts) in told(as_of).items()} == singles


def test_it_goes_by_item_number(book):
    assert list(told()) == sorted(book)


def test_what_was_not_in_the_book_then_is_left_out(book):
    builders.blanket("B-new", received_on=date(2025, 7, 1))
    assert "B-new" not in told(THEN)
    assert "B-new" in told()


def test_an_item_without_a_state_is_unknown_and_not_passed_over(book):
    ItemState.objects.filter(item__item_no="B-truck").delete()
    answer, _facts = told()["B-truck"]
    assert (answer.verdict, answer.reasons[0].code) == ("unknown", "CHAIN_BROKEN")
    assert len(told()) == 4


@pytest.mark.parametrize(
    "stored", [{}, [], "text", {"holds": 7}, {"item_no": "B-shelf"}, {"item_no": "B-truck", "x": 1}]
)
def test_a_state_that_cannot_be_read_is_unknown_where_it_is_and_hides_no_other(book, stored):
    ItemState.objects.filter(item__item_no="B-truck").update(facts=stored)
    answer, facts = told()["B-truck"]
    assert (answer.verdict, facts.holder["name"], facts.usable) == ("unknown", "T-12", True)
    assert "RECORD_UNREADABLE" in [reason.code for reason in answer.reasons]
    assert told()["B-shelf"][0].verdict == "stop"


@pytest.mark.parametrize("as_of", [TODAY, THEN])
def test_what_breaks_while_deciding_is_unknown_for_that_item_alone(book, monkeypatch, as_of):
    decide = readiness.decide

    def broken(facts, *given, **named):
        if facts.item_no == "B-truck":
            raise ZeroDivisionError
        return decide(facts, *given, **named)

    monkeypatch.setattr(readiness, "decide", broken)
    answer = told(as_of)["B-truck"][0]
    assert (answer.verdict, [reason.code for reason in answer.reasons]) == ("unknown", ["RECORD_UNREADABLE"])
    assert len(told(as_of)) == 4


def test_a_broken_chain_is_unknown_for_the_item_and_for_its_mate(book):
    left, right, *_others = book
    ItemState.objects.filter(item__item_no=left).update(chain_ok=False)
    assert [told()[number][0].verdict for number in (left, right)] == ["unknown", "unknown"]
    assert told()[right][0].reasons[0].values["item"] == left


def test_a_chain_that_was_cut_is_unknown_in_the_past_and_not_passed_over(book):
    ItemState.objects.filter(item__item_no="B-truck").update(entry_count=7)
    assert told(THEN)["B-truck"][0].verdict == "unknown"
    assert told("2023-01-01")["B-truck"][0].verdict == "unknown"  # before its receipt, as far as can be told


def test_the_number_of_queries_does_not_grow(book, django_assert_num_queries):
    asked = question_in()
    # site entries, how they follow one another, their head; newest entry; items with states; sets
    with django_assert_num_queries(6):
        list(fleet(asked))
    for _pair in range(30):
        builders.pair()
    assert Entry.objects.count() > 60
    with django_assert_num_queries(6):
        list(fleet(asked))
