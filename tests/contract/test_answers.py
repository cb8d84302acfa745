"""Random books go in by the two import commands; what the commands answer must be what the contract says."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.utils import timezone

from tests.contract import fleet, oracle
from tests.contract.commands import answers, as_csv, as_xlsx, codes_of, report, told

pytestmark = pytest.mark.django_db
DAYS_AGO = (0, 40, 200, 500, 900, -60)
KEYS = (
    "item_no", "kind", "class", "verdict", "good_through", "winning_clock", "clocks", "reasons", "max_use_v", "as_of",
    "known_at", "rule_pack",
)  # fmt: skip
LINE_KEYS = (
    "item_no", "kind", "class", "holder", "crew", "depot", "good_through", "days_over", "winning_clock", "reasons",
)  # fmt: skip


@pytest.fixture(params=[1, 2, 3], scope="module")
def books(request, tmp_path_factory, django_db_setup, django_db_blocker):
    """A random book of about 150 items: (gear rows, test rows, today). The tests come in two files, the later first.

    The second seed comes as workbooks; the third is brought in twice.
    """
    tmp_path = tmp_path_factory.mktemp("books")
    with django_db_blocker.unblock(), transaction.atomic():
        made = brought_in(request.param, tmp_path)
        with connection.cursor() as cursor:
            cursor.execute(
                "ANALYZE"
            )  # nobody counts rows that are not committed, and PostgreSQL then chooses badly
        yield made
        transaction.set_rollback(True)


def brought_in(seed, tmp_path):
    today = timezone.localdate()
    gear, tests = fleet.book(seed, 150, today)
    written, ending = (as_xlsx, "xlsx") if seed == 2 else (as_csv, "csv")
    files = [("import_gear", written(tmp_path / f"gear.{ending}", gear, fleet.GEAR_COLUMNS))]
    late, early = tests[: len(tests) // 2], tests[len(tests) // 2 :]
    columns = fleet.TEST_COLUMNS[::-1]
    files += [
        ("import_tests", written(tmp_path / f"{name}.{ending}", rows, columns))
        for name, rows in (("late", late), ("early", early))
    ]
    for command, file in files * (2 if seed == 3 else 1):
        told(command, file, commit=True)
    return gear, tests, today


def test_every_answer_is_the_oracles(books):
    gear, tests, today = books
    for days in DAYS_AGO:
        as_of = today - timedelta(days=days)
        got = answers(as_of=as_of)
        expected = oracle.answers(gear, tests, as_of=as_of, imported_on=today)
        assert list(got) == sorted(expected)
        differing = {
            number: (got[number], one) for number, one in expected.items() if differs(got[number], one)
        }
        assert differing == {}, as_of


def differs(got, expected):
    """Before receipt only the verdict and its reason are the contract's; from then on every date and reason is."""
    if "NOT_YET_RECEIVED" in expected.codes:
        return got["verdict"] != "unknown" or "NOT_YET_RECEIVED" not in codes_of(got)
    shown = {clock["name"]: clock["good_through"] for clock in got["clocks"]}
    return (
        tuple(got) != KEYS
        or (got["verdict"], got["max_use_v"]) != (expected.verdict, expected.max_use_v)
        or codes_of(got) != expected.codes
        or shown != {name: day.isoformat() for name, day in expected.clocks.items()}
        or got["good_through"] != text_of(expected.good_through)
        or got["winning_clock"] not in (expected.winners or {None})
    )


def text_of(day):
    return day.isoformat() if day else None


@pytest.mark.parametrize("days", [0, 200])
def test_the_report_lists_what_is_not_good_and_what_falls_due_and_counts_the_whole_book(books, days):
    gear, tests, today = books
    as_of = today - timedelta(days=days)
    made = report(as_of)
    expected = {
        number: one
        for number, one in oracle.answers(gear, tests, as_of=as_of, imported_on=today).items()
        if "NOT_YET_RECEIVED" not in one.codes
    }
    totals = dict(made["totals"])
    assert totals.pop("items_in_book") == sum(totals.values()) == len(expected)
    for name, wanted in lists_of(expected, as_of).items():
        assert {line["item_no"]: line_of(line) for line in made[name]} == wanted
        assert all(tuple(line)[: len(LINE_KEYS)] == LINE_KEYS for line in made[name])


def lists_of(expected, as_of):
    """{list: {item_no: (good through, days over, days left, codes)}} as the contract sorts the answers."""
    lists = {"usable_now": {}, "off_the_road": {}, "due_soon": {}}
    for number, one in expected.items():
        left = (one.good_through - as_of).days if one.good_through else None
        over = -left if left is not None and left < 0 else None
        if one.verdict == "good":
            if left is not None and left <= 28:
                lists["due_soon"][number] = (text_of(one.good_through), None, left, one.codes)
        elif one.holder_kind in oracle.IN_HAND:
            lists["usable_now"][number] = (text_of(one.good_through), over, None, one.codes)
        elif "DESTROYED" not in one.codes:
            lists["off_the_road"][number] = (text_of(one.good_through), over, None, one.codes)
    return lists


def line_of(line):
    return (line["good_through"], line["days_over"], line.get("days_left"), codes_of(line))
