"""Page, PDF, CSV, workbook, JSON and the single answer say the same of every item, whatever the fleet is."""

import csv
import io
import random
from datetime import timedelta

import openpyxl
import pypdf
import pytest

from gear import queries as gear_queries
from gear.queries import question_in
from gear.rules.entries import HOLDER_KINDS, USABLE_HOLDERS
from reports import pdf, queries
from reports.rules.overdue import Scope
from reports.spreadsheets import csv_lines, write_workbook
from reports.wording import Weekly, as_json
from tests import builders
from tests.reports.harbour import MONDAY
from tests.reports.test_overdue_page import section, signed_in

pytestmark = pytest.mark.django_db

LISTS = ("usable_now", "due_soon", "off_the_road")


@pytest.fixture
def made_up(request, cast, monday):
    """A fleet made up by chance: kinds, pairs and sets, tests, issues, and what befell them."""
    return fleet_of(random.Random(request.param))


def fleet_of(chance):
    """The numbers of a fleet made up by chance."""
    places = [builders.holder(kind, f"{kind} {number}") for kind in HOLDER_KINDS for number in (1, 2)]
    makers = (_alone, _odd_glove, builders.pair, builders.grounding_set)
    received_on = MONDAY - timedelta(days=900)
    items = [one for _turn in range(14) for one in chance.choice(makers)(received_on=received_on)]
    for one in items:
        if chance.random() < 0.85:
            outcome = chance.choice(["accepted"] * 6 + ["failed", "void", "unjudged"])
            builders.tested(one, on=_day(chance), outcome=outcome, codes=[])
        if chance.random() < 0.8:
            builders.issued(one, to=chance.choice(places), on=_day(chance))
        befallen(one, chance)
    return [one.item_no for one in items]


def _alone(**columns):
    return [builders.blanket(**columns)]


def _odd_glove(**columns):
    return [builders.glove(**columns)]


def befallen(one, chance):
    kind, facts = chance.choice(
        [("noted", {"note": "seen"})] * 6
        + [
            ("held", {"reason": "odd smell"}),
            ("lost", {"reason": "gone"}),
            ("rejected", {"reason": "cut"}),
            ("destroyed", {"reason": "cut up", "witness": "ines"}),
            ("needs_cleaning", {"reason": "mud"}),
            ("sent_for_test", {}),
            ("event", {"event": "dropped"}),
        ]
    )
    builders.happened(one, kind, on=_day(chance), **facts)


def _day(chance):
    return MONDAY - timedelta(days=chance.randrange(0, 400))


def expected(answers, facts):
    """Which list each item belongs in, by its single answer."""
    lists = {}
    for answer in answers:
        usable = facts[answer.item_no].holder["kind"] in USABLE_HOLDERS
        if answer.verdict == "good":
            if answer.days_left is not None and answer.days_left <= 28:
                lists[answer.item_no] = "due_soon"
        elif usable:
            lists[answer.item_no] = "usable_now"
        elif facts[answer.item_no].condition != "destroyed":
            lists[answer.item_no] = "off_the_road"
    return lists


@pytest.mark.parametrize("as_of", ["", "2026-03-02", "2026-11-30"])
@pytest.mark.parametrize("made_up", range(4), indirect=True)
def test_the_report_says_what_the_single_answers_say(made_up, as_of):
    asked = question_in(as_of)
    report = queries.overdue_report(asked, scope=Scope())
    singles = gear_queries.answers(made_up, asked)
    facts = {answer.item_no: facts for answer, facts in gear_queries.fleet(asked)}
    lines = {line.item_no: (name, line) for name in LISTS for line in getattr(report, name)}
    assert {item_no: name for item_no, (name, _line) in lines.items()} == expected(singles, facts)
    for answer in singles:
        if answer.item_no in lines:
            line = lines[answer.item_no][1]
            assert (line.verdict, line.good_through, line.days_over, line.winning_clock) == (
                answer.verdict,
                answer.good_through,
                answer.days_over,
                answer.winning_clock,
            )
            assert [one.code for one in line.reasons] == [one.code for one in answer.reasons]
    assert len(lines) >= 5  # a fleet without anything to report would prove nothing


@pytest.mark.parametrize("made_up", [1, 2], indirect=True)
def test_page_json_csv_and_workbook_list_the_same_items_in_the_same_order(made_up, cast):
    report = queries.overdue_report(question_in(), scope=Scope())
    listed = {name: [line.item_no for line in getattr(report, name)] for name in LISTS}
    told = as_json(report)
    assert {name: [line["item_no"] for line in told[name]] for name in LISTS} == listed
    verdicts = {line.item_no: line.verdict for name in LISTS for line in getattr(report, name)}

    rows = list(csv.DictReader(io.StringIO("".join(csv_lines(report)), newline="")))
    assert {name: [row["item_no"] for row in rows if row["list"] == name] for name in LISTS} == listed
    assert {row["item_no"]: row["verdict"] for row in rows} == verdicts

    file = io.BytesIO()
    write_workbook(report, file)
    cells = list(openpyxl.load_workbook(file).worksheets[0].iter_rows(min_row=2, values_only=True))
    assert [(row[0], row[1], row[4]) for row in cells] == [
        (row["list"], row["item_no"], row["verdict"]) for row in rows
    ]

    page = signed_in(cast.ines).get("/reports/overdue/")
    shown = {name: section(page, name.replace("_", "-")) for name in LISTS}
    assert sorted(shown["usable_now"]) == sorted(listed["usable_now"])  # here by crew and holder
    assert (shown["due_soon"], shown["off_the_road"]) == (listed["due_soon"], listed["off_the_road"])


@pytest.mark.parametrize("made_up", [3], indirect=True)
def test_the_pdf_lists_the_same_items_under_the_same_heads(made_up):
    report = queries.overdue_report(question_in(), scope=Scope())
    content = pdf.weekly_pdf(Weekly(report, {}, None, None))
    words = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)
    words = " ".join(words.split())
    heads = (
        "call about these",
        "Good now, due within 28 days",
        "Not good, off the road",
        "How this was counted",
    )
    starts = [words.index(head) for head in heads]
    parts = dict(
        zip(LISTS, (words[start:end] for start, end in zip(starts, starts[1:], strict=False)), strict=True)
    )
    named = {
        name: {item_no for item_no in made_up if f" {item_no} " in _without_mates(part)}
        for name, part in parts.items()
    }
    assert named == {name: {line.item_no for line in getattr(report, name)} for name in LISTS}
    stops = sum(line.verdict == "stop" for line in (*report.usable_now, *report.off_the_road))
    assert words.count("STOP ") == stops


def _without_mates(words):
    """The words without those that name another piece of the set."""
    return words.replace("complete: ", "complete:")
