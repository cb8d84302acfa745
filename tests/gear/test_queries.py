"""One decision: the single answer and the list agree for every item, on any day, known at any moment."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gear.ledger import Draft, record, record_many
from gear.models import Entry
from gear.queries import answer, answers, everything, fleet, question
from tests import builders

pytestmark = pytest.mark.django_db
BEGIN = date(2026, 1, 5)


def draft(one, kind, day, **facts):
    return Draft(one, kind, facts, occurred_on=BEGIN + timedelta(days=day))


def test_facts(one, outcome, **more):
    identity = one.entry_set.get(kind="received").facts["identity"]
    names = builders.JUDGED_AS.get(identity["kind"], ("kind", "class", "length_mm"))
    judged_as = {name: identity[name] for name in names}
    return {
        "outcome": outcome,
        "purpose": "in_service",
        "pack": "p",
        "judged_as": judged_as,
        "readings": {},
        **more,
    }


test_facts.__test__ = False


def a_book():
    """A pair, a grounding set of two, a blanket and an odd glove, all received long ago and tested on the first day."""
    items = [
        *builders.pair("P-1"),
        *builders.grounding_set(2, set_no="S-1"),
        builders.blanket(),
        builders.glove(),
    ]
    record_many(
        [draft(one, "tested", 0, **test_facts(one, "accepted")) for one in items], by=None, via="import"
    )
    return items


def happenings(one, set_no):
    """What may happen to an item, as functions of the day."""
    dev = builders.holder("person", "Dev").as_fact()
    shelf = builders.holder("shelf").as_fact()
    return [
        lambda day: draft(one, "issued", day, holder=dev),
        lambda day: draft(one, "returned", day, holder=shelf),
        lambda day: draft(one, "tested", day, **test_facts(one, "accepted")),
        lambda day: draft(one, "tested", day, **test_facts(one, "void", effects=["suspect"])),
        lambda day: draft(one, "tested", day, **test_facts(one, "unjudged")),
        lambda day: draft(one, "tested", day, **test_facts(one, "failed")),
        lambda day: draft(one, "held", day, reason="x"),
        lambda day: draft(one, "event", day, event="dropped"),
        lambda day: draft(one, "inspected", day, outcome="clean", scope="pre_use"),
        lambda day: draft(one, "inspected", day, outcome="accept", scope="tool_room"),
        lambda day: draft(one, "lost", day, reason="x"),
        lambda day: draft(one, "left_set", day, set_no=set_no),
        lambda day: draft(one, "joined_set", day, set_no=set_no),
    ]


def corrections(entries):
    """Each entry withdrawn, or moved to another day."""
    return [
        lambda _day, entry=entry, to=to: Draft(
            entry.item,
            "corrected",
            {"reason": "x", "replacement": to and {**said(entry), **to}},
            corrects=entry,
        )
        for entry in entries
        if entry.item_id
        for to in (None, {"occurred_on": "2026-02-20", "occurred_at": "2026-02-20T05:00:00+00:00"})
    ]


def said(entry):
    return {
        "kind": entry.kind,
        "facts": entry.facts,
        "occurred_at": entry.occurred_at.isoformat(),
        "occurred_on": entry.occurred_on.isoformat(),
        "precision": entry.precision,
    }


def told(found):
    return {one.item_no: one for one in found}


def same(asked, items):
    singles = told(answers([one.item_no for one in items], asked))
    listed = told(one for one, _facts in fleet(asked))
    assert listed == {number: one for number, one in singles.items() if number in listed}
    left_out = set(singles) - set(listed)
    assert {singles[number].verdict for number in left_out} <= {"unknown"}
    assert told(everything(asked)) == singles
    return singles


@given(data=st.data())
@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_single_answers_and_lists_agree_after_any_history(data):
    with transaction.atomic():
        items = a_book()
        sets = ["P-1", "P-1", "S-1", "S-1", "S-1", "P-1"]
        recorded = []
        for _step in range(data.draw(st.integers(2, 10))):
            at = data.draw(st.integers(0, len(items) - 1))
            choices = happenings(items[at], sets[at]) + corrections(recorded[-3:])
            choice, day = data.draw(st.sampled_from(choices)), data.draw(st.integers(0, 200))
            recorded.append(record(choice(day), by=None, via="import"))
            recorded = [entry for entry in recorded if entry.kind != "corrected"]
        now = question()
        live = same(now, items)
        same(question(date(2027, 6, 1)), items)
        same(question(BEGIN + timedelta(days=data.draw(st.integers(0, 200)))), items)
        moments = sorted(Entry.objects.values_list("recorded_at", flat=True))
        same(question(date(2026, 6, 1), known_at=data.draw(st.sampled_from(moments))), items)
        # as of this very moment, and as known by now: the same as live
        assert told(answers([one.item_no for one in items], question(now.asked_at))) == live
        assert told(answers([one.item_no for one in items], question(known_at=question().asked_at))) == live
        transaction.set_rollback(True)


# Two times
@pytest.fixture
def blanket(db):
    """Tested on 5 Jan and recorded that noon."""
    with time_machine.travel(datetime(2026, 1, 5, 17, tzinfo=UTC), tick=False):
        blanket = builders.blanket("B-1")
        builders.tested(blanket)
    return blanket


MARCH = date(2026, 3, 1)


@pytest.mark.parametrize(
    ("kind", "facts"),
    [
        ("held", {"reason": "odd smell"}),
        ("event", {"event": "flash_or_contact"}),
        ("lost", {"reason": "not on the truck"}),
        ("rejected", {"reason": "torn"}),
    ],
)
def test_what_is_learned_late_changes_what_was_true_then_and_never_what_was_told_then(blanket, kind, facts):
    before = datetime(2026, 3, 20, tzinfo=UTC)
    with time_machine.travel(datetime(2026, 4, 1, 12, tzinfo=UTC), tick=False):
        record(Draft(blanket, kind, facts, occurred_on=date(2026, 2, 1)), by=None, via="web")
    assert answer("B-1", question(MARCH)).verdict == "stop"
    assert answer("B-1", question(MARCH, known_at=before)).verdict == "good"
    assert answer("B-1", question(date(2026, 1, 31))).verdict == "good"
    for asked in (question(MARCH), question(MARCH, known_at=before)):
        same(asked, [blanket])


def test_a_bare_date_means_the_end_of_that_day_in_the_sites_zone(blanket):
    noon = datetime(2026, 3, 1, 17, tzinfo=UTC)
    record(Draft(blanket, "held", {"reason": "x"}, occurred_at=noon), by=None, via="web")
    assert answer("B-1", question(MARCH)).verdict == "stop"
    assert answer("B-1", question(noon)).verdict == "stop"
    assert answer("B-1", question(noon - timedelta(microseconds=1))).verdict == "good"


def test_what_is_not_in_the_book_is_unknown_then_and_now(blanket):
    codes = [reason.code for reason in answer("B-9", question()).reasons]
    assert codes == ["NOT_IN_BOOK"]
    known = question(known_at=datetime(2026, 1, 4, tzinfo=UTC))
    assert answer("B-1", known).reasons[0].code == "NOT_IN_BOOK"


def test_the_last_day_is_the_sites_day_and_not_the_servers(blanket):
    """Good through 4 Jan 2027 in New York, where it is still the fourth when Greenwich has the fifth."""
    for hour, verdict in ((4, "good"), (5, "stop")):
        with time_machine.travel(datetime(2027, 1, 5, hour, 0, tzinfo=UTC), tick=False):
            assert answer("B-1", question()).verdict == verdict
            assert [one.verdict for one, _facts in fleet(question())] == [verdict]


def test_the_answer_of_today_needs_no_job_to_have_run(blanket):
    """No cron, no write, no rebuild for a year: the item is out of date all the same, in lists too."""
    with time_machine.travel(datetime(2027, 7, 1, 12, tzinfo=UTC), tick=False):
        assert answer("B-1", question()).reasons[0].code == "SHELF_LIMIT"
        assert [one.reasons[0].code for one, _facts in fleet(question())] == ["SHELF_LIMIT"]


# A clock that is behind its own records dates nothing
@pytest.mark.parametrize(
    ("behind", "verdict"),
    [
        (timedelta(minutes=5), "good"),
        (timedelta(minutes=5, seconds=1), "unknown"),
        (timedelta(days=365), "unknown"),
    ],
)
def test_a_clock_set_back_answers_nothing_in_single_answers_lists_and_the_past(blanket, behind, verdict):
    with time_machine.travel(datetime(2026, 3, 1, 12, tzinfo=UTC), tick=False):
        record(Draft(blanket, "noted", {"note": "x"}), by=None, via="web")
    with time_machine.travel(datetime(2026, 3, 1, 12, tzinfo=UTC) - behind, tick=False):
        asked = question()
        assert answer("B-1", asked).verdict == verdict
        assert [one.verdict for one, _facts in fleet(asked)] == [verdict]
        assert [one.verdict for one, _facts in fleet(question(date(2026, 2, 1)))] == [verdict]
        if verdict == "unknown":
            assert answer("B-1", asked).reasons[0].code == "CLOCK_BEHIND"


# One reading sees one state of the database
def test_a_write_between_two_reads_of_an_answer_breaks_nothing(blanket, monkeypatch):
    """A scan during a write: the head it compares with is of the same moment as the entries."""
    from gear.ledger import reading

    honest, asked = reading._fill, question()

    def meanwhile(chains, annotated, column):
        if column == "item_id" and not Entry.objects.filter(kind="noted").exists():
            record(Draft(blanket, "noted", {"note": "x"}), by=None, via="web")
        honest(chains, annotated, column)

    monkeypatch.setattr(reading, "_fill", meanwhile)
    assert answer("B-1", question()).verdict == answer("B-1", asked).verdict == "good"


def test_the_number_of_queries_of_many_answers_does_not_grow(django_assert_max_num_queries):
    pairs = [one for _pair in range(2) for one in builders.pair()]
    with django_assert_max_num_queries(20) as few:
        answers([one.item_no for one in pairs], question())
    pairs += [one for _pair in range(20) for one in builders.pair()]
    with django_assert_max_num_queries(len(few)):
        answers([one.item_no for one in pairs], question())
