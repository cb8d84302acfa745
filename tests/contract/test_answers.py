"""Random books go in by the two import commands; what the commands answer must be what the contract says."""

from __future__ import annotations

import csv
import io
import json
from datetime import date, timedelta

import pytest
from django.core.management import call_command
from django.utils import timezone

from gear.rules.moments import local_day
from tests.contract import fleet, oracle

pytestmark = pytest.mark.django_db
DAYS_AGO = (0, 40, 200, 500, -60)


def written(path, rows, columns):
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return str(path)


def told(command, *arguments, **options):
    out = io.StringIO()
    call_command(command, *arguments, stdout=out, **options)
    return out.getvalue()


@pytest.fixture(params=[1, 2, 3])
def books(request, tmp_path):
    """A random book of about 150 items, brought in by command: (gear rows, test rows, today)."""
    gear, tests = fleet.book(request.param, 150)
    today = local_day(timezone.now(), timezone.get_default_timezone())
    told("import_gear", written(tmp_path / "gear.csv", gear, fleet.GEAR_COLUMNS), commit=True)
    told("import_tests", written(tmp_path / "tests.csv", tests, fleet.TEST_COLUMNS), commit=True)
    return gear, tests, today


def test_every_answer_is_the_oracles(books):
    gear, tests, today = books
    for days in DAYS_AGO:
        as_of = today - timedelta(days=days)
        lines = told("answer", "--all", as_of=as_of.isoformat(), format="json").splitlines()
        got = {line["item_no"]: line for line in map(json.loads, lines)}
        expected = oracle.answers(gear, tests, as_of=as_of, imported_on=today)
        assert set(got) == set(expected)
        differing = {
            number: (got[number]["verdict"], one.verdict, got[number]["reasons"], sorted(one.codes))
            for number, one in expected.items()
            if got[number]["verdict"] != one.verdict
        }
        assert differing == {}, as_of
        for number, one in expected.items():
            if one.verdict != "unknown":
                assert day(got[number]["good_through"]) == one.good_through, (as_of, number)
                assert got[number]["max_use_v"] == one.max_use_v


def test_the_report_counts_the_whole_book_and_lists_what_is_not_good(books):
    gear, tests, today = books
    report = json.loads(told("overdue_report", format="json"))
    expected = oracle.answers(gear, tests, as_of=today, imported_on=today)
    totals = dict(report["totals"])
    assert totals.pop("items_in_book") == len(gear)
    assert sum(totals.values()) == len(gear)
    bad = {number for number, one in expected.items() if one.verdict != "good"}
    in_hand = {number for number in bad if expected[number].holder_kind in oracle.IN_HAND}
    assert {line["item_no"] for line in report["usable_now"]} == in_hand
    destroyed = {row["item_no"] for row in gear if row.get("condition") == "destroyed"}
    assert {line["item_no"] for line in report["off_the_road"]} == bad - in_hand - destroyed
    due = {line["item_no"]: line["days_left"] for line in report["due_soon"]}
    assert due == {
        number: (one.good_through - today).days
        for number, one in expected.items()
        if one.verdict == "good" and one.good_through and (one.good_through - today).days <= 28
    }


def day(text):
    return date.fromisoformat(text) if text else None
