"""Registers of corrections, rules and refused attempts: complete, in pages by key, narrowed to days."""

import csv
import io
from dataclasses import replace
from datetime import date, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from gear.actions import condition, custody
from gear.actions.acting import Act, Refused
from gear.actions.policy import set_policy
from gear.ledger import Draft, record_many
from gear.models import Refusal
from gear.queries import site_rules
from gear.rules import policy
from gear.rules.packs import Interval
from reports.queries.registers import PAGE, Period, all_corrections, corrections, delays
from reports.rules.keys import key_in, key_text
from tests import builders

pytestmark = pytest.mark.django_db


def corrected(entry, by, *, reason="typed wrongly", days=0):
    """An entry withdrawn, or moved back by some days."""
    back = timedelta(days=days)
    replacement = days and {
        "kind": entry.kind,
        "facts": entry.facts,
        "occurred_at": (entry.occurred_at - back).isoformat(),
        "occurred_on": (entry.occurred_on - back).isoformat(),
        "precision": entry.precision,
    }
    stated = {"reason": reason, "replacement": replacement or None}
    return record_many([Draft(entry.item, "corrected", stated, corrects=entry)], by=by, via="web")[0]


@pytest.fixture
def halvard(client, cast, monday):
    client.force_login(cast.halvard)
    return client


def page(client, name, **asked):
    answer = client.get(reverse(name), asked)
    return answer, answer.content.decode()


def rows(client, name, **asked):
    return list(csv.DictReader(io.StringIO(b"".join(client.get(reverse(name), asked)).decode())))


def test_a_correction_is_shown_with_what_was_said_who_said_it_and_who_put_it_right(halvard, cast):
    blanket = builders.blanket("B-1")
    held = builders.happened(blanket, "held", reason="odd smell", by=cast.dev)
    with time_machine.travel(timezone.now() + timedelta(days=2), tick=False) as clock:
        corrected(held, cast.ines, reason="it was the other one")
        clock.shift(timedelta(seconds=1))
        corrected(builders.tested(blanket, by=cast.orla)[0], cast.orla, days=3)
        halvard.force_login(cast.halvard)  # nobody stays signed in for two days
        _answer, text = page(halvard, "corrections_log")
        told = rows(halvard, "corrections_log_csv")
    for words in ("odd smell", "withdrawn", "second person", "it was the other one", "after 2 days", "B-1"):
        assert words in text
    first, second = told
    assert (first["withdrawn"], first["second_person"], first["corrected_by"], first["delay_days"]) == (
        "yes", "yes", "ines", "2",
    )  # fmt: skip
    assert (second["withdrawn"], second["second_person"], second["corrected_by"]) == ("no", "no", "orla")


def test_no_correction_is_lost_between_two_pages_even_of_one_moment(cast, monday):
    blankets = [builders.blanket() for _one in range(PAGE + 7)]
    for one in blankets:
        corrected(builders.happened(one, "held", reason="x"), cast.ines)  # all at one frozen moment
    first, key = corrections(Period())
    second, end = corrections(Period(), key)
    assert (len(first), len(second), end) == (PAGE, 7, "")
    assert len({one.entry.pk for one in (*first, *second)}) == PAGE + 7
    assert len(list(all_corrections(Period()))) == PAGE + 7


def test_the_number_of_queries_does_not_grow_with_the_register(halvard, cast):
    corrected(builders.happened(builders.blanket(), "held", reason="x", by=cast.dev), cast.ines)
    with CaptureQueriesContext(connection) as few:
        page(halvard, "corrections_log")
    for _one in range(12):
        corrected(builders.happened(builders.blanket(), "held", reason="x", by=cast.dev), cast.ines)
    with CaptureQueriesContext(connection) as many:
        page(halvard, "corrections_log")
    assert len(many) == len(few)


def test_late_entries_are_counted_by_delay_and_files_are_no_entries_of_people(cast, monday):
    blanket = builders.blanket()
    for days in (0, 2, 10, 11, 40):
        draft = Draft(blanket, "noted", {"note": "x"}, occurred_on=monday - timedelta(days=days))
        record_many([draft], by=cast.orla, via="web")
    record_many([Draft(blanket, "noted", {"note": "x"}, occurred_on=date(2020, 1, 1))], by=None, via="import")
    assert [count for _least, count in delays(Period())] == [1, 1, 2, 1]
    assert [count for _least, count in delays(Period(first=monday + timedelta(days=1)))] == [0, 0, 0, 0]


def test_a_change_of_policy_is_told_field_by_field(halvard, cast):
    shipped = policy.from_toml()
    first = replace(shipped, due_soon_days=14)
    second = replace(first, intervals={**first.intervals, "blanket": Interval(6, "months")})
    for chosen, reason in ((first, "the week is too short"), (second, "blankets fail in autumn")):
        set_policy(
            chosen,
            effective_from=timezone.localdate(),
            reason=reason,
            password="pim keeps a secret",
            seen=site_rules.version(),
            act=Act(cast.pim),
        )
    _answer, text = page(halvard, "rule_changes")
    assert "blankets fail in autumn" in text
    told = rows(halvard, "rule_changes_csv")
    assert [(row["field"], row["before"], row["after"], row["by"]) for row in told] == [
        ("intervals: blanket", told[0]["before"], "6 months", "pim"),
        ("due soon days", "28", "14", "pim"),
    ]
    assert told[0]["before"] != "6 months"
    assert "None in these days" in page(halvard, "rule_changes", last="2026-09-13")[1]


def test_what_was_refused_is_told_with_who_tried_and_why_not(halvard, cast):
    blanket = builders.blanket("B-1")
    with pytest.raises(Refused):
        custody.issue([blanket], to=builders.holder("person", "Dev"), act=Act(cast.orla))
    condition.hold(blanket, reason="smell", act=Act(cast.dev))
    _answer, text = page(halvard, "refusals_log")
    assert "not good today" in text
    (row,) = rows(halvard, "refusals_log_csv")
    assert (row["by"], row["act"], row["subject"], row["code"]) == ("orla", "issue", "B-1", "NOT_GOOD")
    assert rows(halvard, "refusals_log_csv", last="2026-09-13") == []
    assert Refusal.objects.count() == 1


@pytest.mark.parametrize("name", ["corrections_log", "rule_changes", "refusals_log"])
@pytest.mark.parametrize("form", ["", "_csv"])
def test_days_that_cannot_be_read_show_nothing(halvard, name, form):
    answer, text = page(halvard, f"{name}{form}", first="2026-09-14", last="2026-09-13")
    assert answer.status_code == 400
    assert "lies before the first one" in text


def test_a_key_is_read_again_and_nothing_else_is():
    entry = builders.happened(builders.blanket(), "held", reason="x")
    assert key_in(key_text(entry.recorded_at, entry.pk)) == (entry.recorded_at, entry.pk)
    for typed in ("", "x", "2026-09-14_1", f"2026-09-14T00:00:00_{entry.pk}"):
        assert key_in(typed) is None
