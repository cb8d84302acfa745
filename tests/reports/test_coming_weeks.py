"""The coming weeks: the sum is the due list, names stay in their depot, capacities are only added."""

import csv
import io
import re
from collections import Counter
from datetime import date, timedelta

import pytest
import time_machine
from django.urls import reverse

from gear import queries
from gear.actions.acting import Act
from gear.models import Refusal
from gear.queries import question
from gear.rules.readiness import GOOD
from reports.actions.capacity import CapacityRefused, state_capacity
from reports.models import WeeklyCapacity
from reports.queries.coming_weeks import coming_weeks, replacing
from reports.rules.overdue import Scope
from reports.wording.coming_weeks import picture
from tests import builders
from tests.gear.test_exchange import good_pair

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 9, 14)


def bench():
    return builders.holder("bench", "Bench 1")


def stated(by, pieces=2, **choices):
    known = {"kind": "", "first": MONDAY, "last": None, "note": ""}
    return state_capacity(bench(), pieces=pieces, act=Act(by), **{**known, **choices})


def words_of(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def rows_of(client, name, query=""):
    answer = client.get(reverse(name) + query)
    return list(csv.DictReader(io.StringIO("".join(part.decode() for part in answer.streaming_content))))


# The sum


def test_the_weeks_add_up_to_the_due_list_and_all_pieces_to_the_book(fleet):
    """Counted by hand from tests.reports.harbour: the pair is over, so are two blankets and one was never tested."""
    found = coming_weeks(question()).load
    assert found.waiting == {"glove": 2, "blanket": 3}
    assert [dict(found.of_week(week)) for week in found.weeks] == [
        {"blanket": 1},  # due_in_0: Monday
        {"blanket": 2},  # due_in_7 and due_in_8
        {},
        {},
    ]
    assert len(found.due) == 8
    assert found.not_listed == {
        "later": 3,
        "gone": 2,
    }  # held, due_in_28 and 29 on 12 and 13 October; lost, destroyed
    assert found.pieces == 13


def test_a_fifth_week_takes_in_what_fell_due_on_its_monday(fleet):
    found = coming_weeks(question(), weeks=5).load
    assert found.of_week(date(2026, 10, 12)) == {"blanket": 2}


def test_the_list_is_that_of_the_one_decision(fleet):
    """Everything that is due through the last Sunday by its own answer stands on the list, and nothing else."""
    ahead = coming_weeks(question(), weeks=13)
    last = ahead.weeks[-1].sunday
    expected = set()
    for answer, facts in queries.fleet(question()):
        dated = answer.good_through is not None and answer.good_through <= last
        is_gone = facts.condition in ("rejected", "destroyed", "lost")
        if not is_gone and (dated or answer.good_through is None and answer.verdict != GOOD):
            expected.add(answer.item_no)
    assert {one.item_no for one in ahead.load.due} == expected


def test_the_file_of_figures_adds_up_to_the_file_of_pieces(client, fleet):
    client.force_login(fleet.cast.ines)
    figures, pieces = rows_of(client, "coming_weeks_csv"), rows_of(client, "due_list_csv")
    by_kind = {(row["week"], row["kind"]): int(row["due"]) for row in figures if row["kind"] != "all"}
    assert by_kind == Counter((row["week"], row["kind"]) for row in pieces)
    assert by_kind == {
        ("before", "glove"): 2,
        ("before", "blanket"): 3,
        ("2026-W38", "blanket"): 1,
        ("2026-W39", "blanket"): 2,
    }


# Against capacity


def test_the_page_says_which_week_is_too_many_by_how_many(client, fleet):
    stated(fleet.cast.ines, pieces=1)
    client.force_login(fleet.cast.ines)
    words = words_of(client.get(reverse("coming_weeks")))
    assert "3 pieces fall due through 11 OCT 2026." in words
    assert "More than bench and labs take: 21 Sep, week 39: 1 too many." in words
    assert "5 pieces are due already." in words
    assert "This week has room for 0 pieces besides what falls due in it; 5 wait already." in words


def test_without_a_stated_capacity_nothing_is_called_too_many(client, fleet):
    client.force_login(fleet.cast.ines)
    words = words_of(client.get(reverse("coming_weeks")))
    assert "No capacity is stated." in words
    assert "too many" not in words.lower().replace("too many 0", "").split("week by week")[0]


def test_a_bar_is_as_long_as_its_figure_and_says_it_as_text(fleet):
    stated(fleet.cast.ines, pieces=1)
    drawn = picture(coming_weeks(question()))
    waiting, first, second, *_rest = drawn.bars
    assert (waiting.figure, waiting.waits) == ("5 wait", 358)
    assert (first.fits, first.over, first.line) == (pytest.approx(71.6), 0, pytest.approx(71.6))
    assert (second.fits, second.over) == (pytest.approx(71.6), pytest.approx(71.6))
    assert second.figure == "2 due, takes 1: 1 too many"
    assert all(bar.figure in drawn.told for bar in drawn.bars)


@pytest.mark.parametrize("weeks", ["3", "14", "x", "1e1", "-4"])
def test_weeks_that_cannot_be_looked_ahead_are_refused_with_the_bounds(client, fleet, weeks):
    client.force_login(fleet.cast.ines)
    answer = client.get(reverse("coming_weeks"), {"weeks": weeks})
    assert answer.status_code == 400
    assert "give a whole number from 4 to 13" in words_of(answer)


# Who sees what


def test_whoever_is_bound_to_a_depot_sees_its_pieces_and_the_weeks_of_all(client, fleet):
    orla = fleet.cast.orla
    orla.depot = fleet.elsewhere
    orla.save()
    client.force_login(orla)
    words = words_of(client.get(reverse("coming_weeks")))
    assert "3 pieces fall due" in words
    assert "Only what belongs to Ferrow Point" in words
    assert {row["item_no"] for row in rows_of(client, "due_list_csv")} == {"B-over_far"}


def test_the_number_of_queries_does_not_grow_with_the_book(fleet, django_assert_num_queries):
    stated(fleet.cast.ines)
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def asked():
        ahead = coming_weeks(question(), weeks=13)
        replacing(question(), ahead.load, scope=Scope())

    with CaptureQueriesContext(connection) as before:
        asked()
    for number in range(20):
        builders.tested(builders.blanket(f"B-new-{number}"), on=date(2025, 10, 1))
        stated(fleet.cast.ines, pieces=10 + number)
    with django_assert_num_queries(len(before)):
        asked()


# Replacements


@pytest.fixture
def worn(cast):
    """Dev and Marisol wear pairs of size 10 that fall due within 13 weeks; one such pair lies on a shelf."""
    for name in ("Dev", "Marisol"):
        pair = builders.pair(on=builders.today() - timedelta(days=900))
        builders.tested(*pair, on=builders.today() - timedelta(days=150))
        days = builders.today() - timedelta(days=150)
        builders.issued(*pair, to=builders.holder("person", name), on=days)
    cast.spare = good_pair("S-10")
    return cast


def test_one_spare_is_not_counted_for_two(worn):
    ahead = coming_weeks(question(), weeks=13)
    pairs = replacing(question(), ahead.load, scope=Scope()).by_week
    assert [(one.due, one.ready) for one in pairs.values()] == [(2, 1)]


# Stating a capacity


def test_a_capacity_is_stated_on_the_page_and_counts_from_its_monday(client, cast):
    place = bench()
    client.force_login(cast.orla)
    sent = {"place": place.pk, "kind": "glove", "pieces": "40", "first": "2026-09-17", "last": "", "note": ""}
    answer = client.post(reverse("capacities"), sent, follow=True)
    assert "Bench 1: 40 pieces a week from 14 Sep, week 38." in words_of(answer)
    row = WeeklyCapacity.objects.get()
    assert (row.first_week, row.last_week, row.kind, row.pieces, row.by) == (
        MONDAY,
        None,
        "glove",
        40,
        cast.orla,
    )


def test_what_was_stated_in_the_evening_bears_the_day_of_the_site(client, cast):
    with time_machine.travel("2026-09-15T02:00:00+00:00", tick=False):  # 22:00 on the 14th at the site
        stated(cast.ines)
        client.force_login(cast.ines)
        assert "ines, 14 SEP 2026" in words_of(client.get(reverse("capacities")))


@pytest.mark.parametrize(
    ("choices", "code"),
    [
        ({"pieces": -1}, "PIECES_WRONG"),
        ({"pieces": 10_001}, "PIECES_WRONG"),
        ({"last": MONDAY - timedelta(days=1)}, "ENDS_BEFORE_IT_BEGINS"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(cast, choices, code):
    with pytest.raises(CapacityRefused) as refused:
        stated(cast.ines, **choices)
    assert refused.value.code == code


def test_a_shelf_tests_nothing(cast):
    with pytest.raises(CapacityRefused, match="Only a bench or a lab"):
        state_capacity(
            builders.holder("shelf"), kind="", pieces=1, first=MONDAY, last=None, note="", act=Act(cast.ines)
        )


def test_the_same_stated_twice_is_kept_once(client, cast):
    place = bench()
    client.force_login(cast.orla)
    sent = {
        "place": place.pk,
        "kind": "",
        "pieces": "40",
        "first": "2026-09-17",
        "last": "2026-09-17",
        "note": "",
    }
    assert client.post(reverse("capacities"), sent).status_code == 302
    answer = client.post(reverse("capacities"), sent)
    assert answer.status_code == 422
    assert "The same was stated last for these weeks." in words_of(answer)
    assert WeeklyCapacity.objects.count() == 1


def test_the_auditor_reads_what_was_stated_and_states_nothing(client, cast):
    stated(cast.ines)
    client.force_login(cast.halvard)
    assert "State another figure" not in words_of(client.get(reverse("capacities")))
    assert client.post(reverse("capacities"), {}).status_code == 403
    with pytest.raises(Exception, match=r".") as refused:
        stated(cast.halvard)
    assert type(refused.value).__name__ == "NotAllowed"
    assert Refusal.objects.filter(act="plan_capacity").exists()
