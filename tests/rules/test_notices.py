"""Who is told of what is stopped in somebody's hands, when again, and who is told nothing."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules.readiness import Reason
from reports.rules.notices import (
    DUE_DAYS,
    Alarm,
    History,
    Reader,
    digest,
    due_key,
    hands_key,
    now_key,
    stops,
    urgent,
)
from reports.rules.overdue import Line, Scope

NOW = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)
HOUR = timedelta(hours=1)
BERTRAND = Reader(1, "Bertrand", "bertrand@example.org", "foreman", Scope("crew", "Crew 7"))
INES = Reader(2, "Ines", "ines@example.org", "supervisor", Scope())
ORLA = Reader(3, "Orla", "orla@example.org", "clerk", Scope("depot", "Harbour depot"))
PIM = Reader(4, "Pim", "pim@example.org", "administrator", Scope())
EVERYBODY = (BERTRAND, INES, ORLA, PIM)


def line(item_no="B-1", verdict="stop", code="HELD", *, crew="Crew 7", depot="Harbour depot", **more):
    reasons = (Reason(code, "internal control"),)
    stated = {"holder": "T-12", "holder_kind": "truck", "crew": crew, "depot": depot, "usable": True}
    return Line(item_no, "blanket", "2", verdict, "ok", reasons, **stated, **more)


STOP = line()


def told(*rows):
    """A history from (reader, key, hours ago)."""
    last, first = {}, {}
    for reader, key, hours in sorted(rows, key=lambda row: -row[2]):
        last[reader.pk, key] = NOW - hours * HOUR
        if reader.role == "foreman":
            first.setdefault(key, NOW - hours * HOUR)
    return History(last, first)


def hears(reader, history=None, lines=(STOP,), crews=("Crew 7",)):
    return [one.item_no for one in urgent(reader, lines, history or History(), crews=crews, now=NOW)]


def news(reader, history=None, **given):
    shown = {"in_hands": (), "due_soon": (), "alarms": (), **given}
    return digest(reader, **shown, history=history or History())


# What is stopped in hands


@pytest.mark.parametrize(
    ("reader", "crews", "expected"),
    [
        (BERTRAND, ("Crew 7",), ["B-1"]),
        (INES, ("Crew 7",), []),
        (INES, (), ["B-1"]),  # no foreman of this crew can be mailed
        (ORLA, (), []),
        (PIM, (), []),
    ],
)
def test_the_foreman_is_told_at_once_and_where_there_is_none_the_supervisor(reader, crews, expected):
    assert hears(reader, crews=crews) == expected


@pytest.mark.parametrize(("hours", "again"), [(0, False), (23, False), (24, True), (40, True)])
def test_it_comes_again_every_day(hours, again):
    assert bool(hears(BERTRAND, told((BERTRAND, now_key(STOP), hours)))) is again


@pytest.mark.parametrize(("hours", "too"), [(23, False), (24, True)])
def test_after_a_day_the_supervisor_is_told_too(hours, too):
    assert bool(hears(INES, told((BERTRAND, now_key(STOP), hours)))) is too


def test_that_it_stood_in_a_digest_does_not_put_off_the_supervisor():
    history = told((BERTRAND, now_key(STOP), 24), (INES, hands_key(STOP), 3))
    assert hears(INES, history) == ["B-1"]


def test_a_new_one_brings_all_that_are_open_and_the_next_day_is_one_mail():
    history = told((BERTRAND, now_key(STOP), 3))
    assert hears(BERTRAND, history, (STOP, line("B-2"))) == ["B-1", "B-2"]


def test_another_reason_is_new():
    history = told((BERTRAND, now_key(STOP), 1))
    assert hears(BERTRAND, history, (line(code="FAILED_TEST"),)) == ["B-1"]


def test_gear_of_another_crew_or_depot_is_none_of_theirs():
    elsewhere = line(crew="Crew 9", depot="Ferrow Point")
    bound = Reader(9, "Nessa", "n@example.org", "supervisor", Scope("depot", "Harbour depot"))
    nobodys = Reader(8, "Abel", "a@example.org", "foreman", Scope("crew", None))
    for reader in (BERTRAND, bound, nobodys):
        assert hears(reader, lines=(elsewhere,), crews=()) == []


def test_only_stop_counts_and_only_until_it_is_confirmed():
    lines = [STOP, line("B-2", "unknown"), line("B-3")]
    assert [one.item_no for one in stops(lines, {hands_key(line("B-3"))})] == ["B-1"]


@given(st.lists(st.integers(0, 60), max_size=6), st.booleans())
def test_an_open_stop_is_never_forgotten(hours_ago, has_foreman):
    """Whatever was told before, within a day after the last word the foreman, or without one the supervisor, hears."""
    reader, crews = (BERTRAND, ("Crew 7",)) if has_foreman else (INES, ())
    history = told(*((reader, now_key(STOP), hours) for hours in hours_ago))
    assert bool(hears(reader, history, crews=crews)) is (not hours_ago or min(hours_ago) >= 24)


# Digests

DUE = line("B-4", "good", good_through=date(2026, 9, 20), days_left=6)
ALARM = Alarm("health|BACKUP", "Backup: none.", frozenset({"supervisor", "administrator"}))


def test_everybody_gets_what_they_can_act_on():
    told_to = {
        one.name: news(one, in_hands=[STOP, line("B-2", "unknown")], due_soon=[DUE], alarms=[ALARM]).keys
        for one in EVERYBODY
    }
    stop, unknown, due = hands_key(STOP), hands_key(line("B-2", "unknown")), due_key(DUE)
    assert told_to == {
        "Bertrand": [unknown, due],  # of what is stopped he heard at once
        "Ines": [stop, unknown, ALARM.key],
        "Orla": [stop, unknown, due],
        "Pim": [ALARM.key],
    }


def test_what_was_told_once_is_not_news_and_nothing_new_is_no_mail():
    history = told(*((ORLA, key, 300) for key in (hands_key(STOP), due_key(DUE))))
    assert news(ORLA, history, in_hands=[STOP], due_soon=[DUE]) is None
    assert news(ORLA, told((ORLA, now_key(STOP), 3)), in_hands=[STOP]) is None
    assert news(ORLA, history, in_hands=[line(code="FAILED_TEST")]).keys


def test_what_falls_due_later_than_in_two_weeks_is_not_told_yet():
    far = line("B-5", "good", good_through=date(2026, 9, 29), days_left=DUE_DAYS + 1)
    assert news(ORLA, due_soon=[far]) is None
    found = news(ORLA, told((ORLA, due_key(DUE), 50)), due_soon=[DUE, line("B-6", "good", days_left=14), far])
    assert ([one.item_no for one in found.due], found.due_count) == (["B-6"], 2)
