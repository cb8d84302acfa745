"""`manage.py answer`: one line an item, the same decision as everywhere, and never `good` from what cannot be read."""

import json
import random
from datetime import UTC, date, datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection
from django.test.utils import CaptureQueriesContext

from gear import guards
from gear.models import Entry, ItemState
from gear.rules import codes, readiness
from tests import builders

KEYS = [
    "item_no",
    "kind",
    "class",
    "verdict",
    "good_through",
    "winning_clock",
    "clocks",
    "reasons",
    "max_use_v",
    "as_of",
    "known_at",
    "rule_pack",
]  # DESIGN.md of the service, "Interfaces": the keys and their order
NOW = datetime(2026, 6, 1, 16, 0, tzinfo=UTC)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def first_of_june():
    with time_machine.travel(NOW, tick=False):
        yield


def ask(*arguments: str) -> list[dict]:
    out = StringIO()
    call_command("answer", *arguments, "--format", "json", stdout=out)
    return [json.loads(line) for line in out.getvalue().splitlines()]


def test_a_line_has_exactly_the_promised_keys():
    builders.tested(builders.blanket("B-1"), on=date(2026, 3, 2))
    (line,) = ask("B-1")
    assert list(line) == KEYS
    assert (line["kind"], line["class"], line["max_use_v"]) == ("blanket", "2", 17000)
    assert line["rule_pack"] == "us_federal 1"


def test_an_item_in_date_is_good_with_its_clock_and_without_notes_among_the_reasons():
    builders.tested(builders.blanket("B-1"), on=date(2026, 3, 2))
    (line,) = ask("B-1")
    assert (line["verdict"], line["good_through"]) == ("good", "2027-03-01")
    assert line["winning_clock"] == "last_test+12"
    assert line["clocks"][0] == {
        "name": "last_test+12",
        "good_through": "2027-03-01",
        "source": line["clocks"][0]["source"],
    }
    assert line["reasons"] == []


def test_every_reason_is_told_worst_first_with_sentence_and_source():
    blanket = builders.blanket("B-1")
    builders.tested(blanket, on=date(2025, 1, 10))
    builders.happened(blanket, "needs_cleaning", on=date(2026, 5, 1), reason="oil")
    builders.happened(blanket, "held", on=date(2026, 5, 2), reason="odd smell")
    (line,) = ask("B-1")
    assert line["verdict"] == "stop"
    assert [reason["code"] for reason in line["reasons"]] == ["HELD", "SHELF_LIMIT", "NEEDS_CLEANING"]
    assert all(reason["sentence"] and reason["source"] for reason in line["reasons"])
    assert "odd smell" in line["reasons"][0]["sentence"]


def test_an_item_that_is_not_in_the_book_is_unknown_and_still_gets_its_line():
    builders.tested(builders.blanket("B-1"), on=date(2026, 3, 2))
    known, unknown = ask("B-1", "NO-SUCH-THING")
    assert known["verdict"] == "good"
    assert (unknown["item_no"], unknown["verdict"], unknown["kind"]) == ("NO-SUCH-THING", "unknown", None)
    assert [reason["code"] for reason in unknown["reasons"]] == ["NOT_IN_BOOK"]
    assert unknown["max_use_v"] is None


def test_items_are_told_in_the_order_asked_and_all_by_item_number():
    for number in ("B-2", "B-1", "B-3"):
        builders.blanket(number)
    assert [line["item_no"] for line in ask("B-3", "B-1")] == ["B-3", "B-1"]
    assert [line["item_no"] for line in ask("--all")] == ["B-1", "B-2", "B-3"]


@pytest.mark.parametrize(
    ("as_of", "verdict"),
    [
        ("2027-03-01", "good"),  # the last good day
        ("2027-03-02", "stop"),
        ("2027-03-01T23:59:59-05:00", "good"),
        ("2027-03-02T00:00:00-05:00", "stop"),
        ("2027-03-02T04:59:59Z", "good"),  # still 1 March at the site
        ("2027-03-02T05:00:00Z", "stop"),
    ],
)
def test_as_of_a_day_means_its_end_and_a_moment_its_day_at_the_site(as_of, verdict):
    builders.tested(builders.blanket("B-1"), on=date(2026, 3, 2))
    (line,) = ask("B-1", "--as-of", as_of)
    assert line["verdict"] == verdict
    assert line["as_of"] == ("2027-03-01" if verdict == "good" else "2027-03-02")


def test_entries_of_the_day_asked_about_count_and_later_ones_do_not():
    blanket = builders.blanket("B-1")
    builders.tested(blanket, on=date(2026, 3, 2))
    builders.happened(blanket, "held", on=date(2026, 5, 2), reason="odd smell")
    assert [ask("B-1", "--as-of", day)[0]["verdict"] for day in ("2026-05-01", "2026-05-02")] == [
        "good",
        "stop",
    ]


def test_known_at_shows_what_the_system_told_then():
    blanket = builders.blanket("B-1")
    builders.tested(blanket, on=date(2026, 3, 2))
    with time_machine.travel(NOW + timedelta(days=2), tick=False):
        builders.happened(blanket, "held", on=date(2026, 5, 2), reason="told late")
        then = ask("B-1", "--as-of", "2026-05-10", "--known-at", "2026-06-02T08:00:00-04:00")[0]
        now = ask("B-1", "--as-of", "2026-05-10")[0]
    assert (then["verdict"], now["verdict"]) == ("good", "stop")
    assert datetime.fromisoformat(then["known_at"]) == datetime(2026, 6, 2, 12, tzinfo=UTC)
    assert datetime.fromisoformat(now["known_at"]) == NOW + timedelta(days=2)


@pytest.mark.parametrize(
    ("option", "text", "words"),
    [
        ("--as-of", "2026-02-30", "no day of the calendar"),
        ("--as-of", "20260302", "neither a day nor a moment"),
        ("--as-of", "2026-W10-1", "neither a day nor a moment"),
        ("--as-of", "yesterday", "neither a day nor a moment"),
        ("--as-of", "2026-03-02T05:45", "no offset"),
        ("--as-of", "2026-03-02T25:45Z", "no moment of the clock"),
        ("--as-of", "0001-01-01", "out of range"),
        ("--as-of", "9999-12-31", "out of range"),
        ("--as-of", "9999-12-31T23:59:59-12:00", "out of range"),
        ("--known-at", "2026-03-02", "no moment"),
        ("--known-at", "2026-03-02T05:45:00", "no offset"),
    ],
)
def test_a_moment_that_could_mean_two_things_or_none_is_refused(option, text, words):
    builders.blanket("B-1")
    with pytest.raises(CommandError, match=words) as refused:
        ask("B-1", option, text)
    assert refused.value.returncode == 2
    assert str(refused.value).startswith(option)


@pytest.mark.parametrize("arguments", [(), ("B-1", "--all")])
def test_either_items_or_the_whole_book_must_be_asked_for(arguments):
    with pytest.raises(CommandError, match="Name one or more items") as refused:
        ask(*arguments)
    assert refused.value.returncode == 2


def test_a_database_that_cannot_be_read_is_told_in_a_sentence(monkeypatch):
    def fails(*_arguments, **_keywords):
        raise OperationalError("no such table: gear_item")

    monkeypatch.setattr("gear.queries.answers_to", fails)
    with pytest.raises(CommandError, match="so nothing is known: no such table: gear_item") as refused:
        ask("B-1")
    assert refused.value.returncode == 1


def test_a_label_code_may_stand_for_the_item():
    code, old = (codes.new_code(random.Random(number)) for number in (1, 2))
    item = builders.blanket("B-1", label=old)
    builders.tested(item, on=date(2026, 3, 2))
    assert [line["verdict"] for line in ask(old, codes.grouped(old).lower())] == ["good", "good"]
    builders.happened(item, "labelled", code=code, replaces=old)
    by_new, by_old, by_number = ask(code, old, "B-1")
    assert [line["item_no"] for line in (by_new, by_old, by_number)] == ["B-1", "B-1", "B-1"]
    assert [line["verdict"] for line in (by_new, by_old, by_number)] == ["good", "stop", "good"]
    assert by_old["reasons"][0]["code"] == "LABEL_REPLACED"


def test_queries_do_not_grow_with_the_book():
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as captured:
            ask("--all")
        return len(captured)

    builders.tested(*builders.pair(), on=date(2026, 3, 2))
    few = queries()
    for _again in range(10):
        builders.tested(*builders.pair(), on=date(2026, 3, 2))
    assert queries() == few


@pytest.mark.parametrize("facts", [{}, {"v": 1}, {"v": 1, "outcome": "accepted"}, [], "accepted", {"v": 7}])
def test_one_damaged_record_is_unknown_and_hides_no_other(facts):
    good, damaged = builders.blanket("B-1"), builders.blanket("B-2")
    builders.tested(good, damaged, on=date(2026, 3, 2))
    tested = Entry.objects.get(item=damaged, kind="tested")
    guards.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE gear_entry SET facts = %s WHERE id = %s",
            [json.dumps(facts), tested.id.hex if connection.vendor == "sqlite" else tested.id],
        )
    first, second = ask("--all")
    assert first["verdict"] == "good"
    assert second["verdict"] == "unknown"
    assert "CHAIN_BROKEN" in [reason["code"] for reason in second["reasons"]]


def test_a_missing_state_is_a_broken_record_not_a_missing_item():
    builders.tested(builders.blanket("B-1"), on=date(2026, 3, 2))
    ItemState.objects.all().delete()
    (line,) = ask("B-1")
    assert (line["verdict"], line["reasons"][0]["code"]) == ("unknown", "CHAIN_BROKEN")


def test_what_breaks_while_deciding_is_unknown_for_that_item_alone(monkeypatch):
    builders.tested(builders.blanket("B-1"), builders.blanket("B-2"), on=date(2026, 3, 2))
    honest = readiness.decide

    def broken(facts, *arguments, **keywords):
        if facts.item_no == "B-1":
            raise ArithmeticError
        return honest(facts, *arguments, **keywords)

    monkeypatch.setattr(readiness, "decide", broken)
    assert [line["verdict"] for line in ask("--all")] == ["unknown", "good"]


def test_as_text_it_says_the_verdict_why_and_whom_to_see():
    blanket = builders.blanket("B-1")
    builders.tested(blanket, on=date(2026, 3, 2))
    builders.happened(blanket, "held", on=date(2026, 5, 2), reason="odd smell")
    out = StringIO()
    call_command("answer", "B-1", stdout=out)
    text = out.getvalue()
    assert "B-1: STOP. DO NOT USE" in text
    assert "odd smell" in text
    assert "See the supervisor." in text
    assert "20,000" not in text
    assert "20 kV" not in text
