"""Importing tests before or after what they concern gives the same answers."""

import csv
import io
from datetime import date, timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gear import queries
from gear.actions import gearbook
from gear.actions.acting import Act
from gear.actions.committing import BY_COMMAND
from gear.ledger import Draft, record_many
from gear.models import Item
from inspections.actions import testbook
from tests.books import bench_rows, gear_rows

pytestmark = pytest.mark.django_db
START = date(2026, 2, 2)
SHELF = {"kind": "shelf", "name": "Rack", "crew": None, "depot": None}
PAIR = [{"item_no": "G-1", "hand": "L", "set_no": "P-1"}, {"item_no": "G-2", "hand": "R", "set_no": "P-1"}]

days = st.integers(0, 200).map(lambda number: START + timedelta(days=number))
cells = st.sampled_from(
    [
        {},
        {"purpose": "first", "seconds": "180"},
        {"purpose": "after_repair"},
        {"seconds": "30"},
        {"leakage_ma": "0"},
        {"leakage_ma": "17"},
        {"visual": "test"},
        {"visual": "clean"},
        {"supply": "dc", "applied_v": "50000"},
    ]
)
tests = st.tuples(st.just("test"), st.sampled_from(["G-1", "G-2"]), days, cells)
events = st.tuples(
    st.just("event"),
    st.sampled_from(["G-1", "G-2"]),
    days,
    st.sampled_from(
        [
            ("event", {"event": "dropped"}),
            ("event", {"event": "used_without_protectors"}),
            ("lost", {"reason": "not on the truck"}),
            ("sent_for_test", {}),
            ("sent_for_repair", {"reason": "patch"}),
            ("inspected", {"outcome": "accept", "scope": "tool_room"}),
        ]
    ),
)


def as_csv(rows: list[dict]) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, sorted({name for row in rows for name in row}), restval="")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def bring(happening: tuple, number: int) -> None:
    word, item_no, day, what = happening
    if word == "test":
        row = {"item_no": item_no, "tested_on": day.isoformat(), "report_no": f"R-{number}", **what}
        report = testbook.commit(
            "tests.csv", as_csv(bench_rows(row)), act=Act(None, via="import"), limits=BY_COMMAND
        )
        assert report.committed
    else:
        kind, facts = what
        record_many(
            [Draft(Item.objects.get(item_no=item_no), kind, facts, occurred_on=day)], by=None, via="system"
        )


def answers() -> list[tuple]:
    told = []
    for number in (0, 30, 90, 150, 200, 260):
        for item_no in ("G-1", "G-2"):
            answer = queries.answer(item_no, queries.question(START + timedelta(days=number)))
            codes = sorted(reason.code for reason in answer.reasons)
            told.append((number, item_no, answer.verdict, answer.good_through, answer.winning_clock, codes))
    return told


@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_the_order_of_importing_does_not_matter(data):
    happenings = list(enumerate(data.draw(st.lists(st.one_of(tests, tests, events), min_size=2, max_size=7))))
    orders = [happenings, data.draw(st.permutations(happenings))]
    told = []
    for order in orders:
        with transaction.atomic():
            gearbook.commit(
                "gear.csv", as_csv(gear_rows(*PAIR)), act=Act(None, via="import"), limits=BY_COMMAND
            )
            for number, happening in order:
                bring(happening, number)
            told.append(answers())
            transaction.set_rollback(True)
    assert told[0] == told[1]


def test_one_file_or_many_gives_the_same_answers():
    rows = [
        {
            "item_no": item_no,
            "tested_on": (START + timedelta(days=day)).isoformat(),
            "report_no": f"R-{day}",
            **what,
        }
        for day, what in ((1, {}), (60, {"seconds": "5"}), (90, {"visual": "test"}), (120, {}))
        for item_no in ("G-1", "G-2")
    ]
    told = []
    for files in ([rows], [[row] for row in reversed(rows)]):
        with transaction.atomic():
            gearbook.commit(
                "gear.csv", as_csv(gear_rows(*PAIR)), act=Act(None, via="import"), limits=BY_COMMAND
            )
            for file in files:
                testbook.commit(
                    "tests.csv", as_csv(bench_rows(*file)), act=Act(None, via="import"), limits=BY_COMMAND
                )
            told.append(answers())
            transaction.set_rollback(True)
    assert told[0] == told[1]
    assert {one[2] for one in told[0]} == {"good", "stop"}
