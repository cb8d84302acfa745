"""The book read once says of now and of a week ago what two questions say of them, for fleets made up by chance."""

import random
from datetime import date, timedelta

import pytest
import time_machine

from gear.queries import fleet, question, question_in
from gear.queries.book import Book, week_before
from tests import builders
from tests.reports.test_same_verdicts import befallen, fleet_of

pytestmark = pytest.mark.django_db

MONDAY = date(2026, 9, 14)


def told(found):
    return [(answer, facts.holder, facts.condition) for answer, facts in found]


def open_then(then):
    return [
        (answer, facts.holder, facts.condition)
        for answer, facts in fleet(then)
        if facts.usable and answer.verdict != "good"
    ]


@pytest.fixture
def made_up(request, cast):
    """A fleet of last month, and what befell it in the days since: each entry is recorded on its day."""
    chance = random.Random(request.param)
    with time_machine.travel("2026-09-14T09:40:00+00:00", tick=False):
        numbers = fleet_of(chance)
        for number in chance.sample(numbers, len(numbers) // 3):
            befallen(_item(number), chance)
        yield numbers


def _item(number):
    from gear.models import Item

    return Item.objects.get(item_no=number)


@pytest.mark.parametrize("made_up", range(4), indirect=True)
def test_a_week_before_is_what_is_answered_when_asked_about_that_day(made_up):
    asked = question()
    book = Book(asked)
    assert told(book.now()) == told(fleet(asked))
    then = week_before(asked)
    assert then.as_of == MONDAY - timedelta(days=7)
    assert told(book.usable_at(then)) == open_then(question(then.as_of))


def test_what_is_received_while_the_book_is_read_breaks_nothing(cast):
    builders.blanket("B-1", at=builders.holder("truck", "T-12"))
    asked = question()
    book = Book(asked)
    list(book.now())
    builders.blanket("B-2")
    assert [answer.item_no for answer, _facts in book.usable_at(week_before(asked))] == ["B-1"]


@pytest.mark.parametrize("made_up", [7], indirect=True)
def test_a_past_week_is_asked_about_in_the_same_way(made_up):
    asked = question_in("2026-09-10")
    book = Book(asked)
    assert told(book.now()) == told(fleet(asked))
    then = week_before(asked)
    assert told(book.usable_at(then)) == open_then(question_in("2026-09-03"))


@pytest.mark.parametrize("made_up", [11], indirect=True)
def test_whatever_is_open_now_and_has_been_for_a_week_was_open_a_week_ago(made_up):
    asked = question()
    book = Book(asked)
    now = [answer.item_no for answer, facts in book.now() if facts.usable and answer.verdict != "good"]
    spells = book.spells(now)
    assert set(spells) == set(now)
    assert all(spells.values())
    for days in (1, 7, 30):
        then = question(MONDAY - timedelta(days=days))
        were_open = {answer.item_no for answer, _holder, _condition in open_then(then)}
        since = {number for number, one in spells.items() if one.since <= then.as_of_at}
        assert since <= were_open
        assert since or days == 30


def test_the_queries_do_not_grow_with_the_book(cast, django_assert_num_queries):
    def counted():
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as seen:
            book = Book(question())
            now = [answer.item_no for answer, facts in book.now() if facts.usable]
            list(book.usable_at(week_before(book.asked)))
            book.spells(now)
        return len(seen)

    with time_machine.travel("2026-09-14T09:40:00+00:00", tick=False):
        few = builders.pair(received_on=date(2026, 1, 2))
        builders.issued(*few, on=date(2026, 9, 12))
        first = counted()
        for _turn in range(5):
            more = builders.pair(received_on=date(2026, 1, 2))
            builders.issued(*more, on=date(2026, 9, 12))
        assert counted() == first
