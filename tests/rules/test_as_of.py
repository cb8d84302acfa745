"""Two times: what was true then as is known now, and what was known then. What comes later changes the first alone."""

from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from gear.rules import fold, moments, readiness
from tests.rules.histories import DEV, FEDERAL, LAB, SHELF, entry, received, tested

START = datetime(2026, 3, 1, 12, tzinfo=UTC)
DAYS = 40
HOLD = entry("held", reason="odd smell", at=START)


def _line(kind, at, recorded_at):
    made = {
        "accepted": lambda: tested("accepted", at=at, recorded_at=recorded_at),
        "failed": lambda: tested("failed", at=at, recorded_at=recorded_at),
        "event": lambda: entry("event", event="dropped", at=at, recorded_at=recorded_at),
        "evidence": lambda: entry("held", reason="x", evidence=True, at=at, recorded_at=recorded_at),
        "released": lambda: entry("released", hold=str(HOLD.id), reason="x", at=at, recorded_at=recorded_at),
        "lost": lambda: entry("lost", reason="x", at=at, recorded_at=recorded_at),
        "found": lambda: entry("found", at=at, recorded_at=recorded_at),
        "issued": lambda: entry("issued", holder=DEV, at=at, recorded_at=recorded_at),
        "returned": lambda: entry("returned", holder=SHELF, at=at, recorded_at=recorded_at),
        "at_lab": lambda: entry("returned", holder=LAB, at=at, recorded_at=recorded_at),
        "dirty": lambda: entry("needs_cleaning", reason="x", at=at, recorded_at=recorded_at),
    }
    return made[kind]()


KINDS = ("accepted", "failed", "event", "evidence", "released", "lost", "found", "issued", "returned", "at_lab",
         "dirty")  # fmt: skip


@st.composite
def histories(draw):
    """Entries that happened on some hour and were entered at once or days later."""
    lines = [received()]
    for kind in draw(st.lists(st.sampled_from(KINDS), max_size=12)):
        at = START + timedelta(hours=draw(st.integers(0, DAYS * 24)))
        lines.append(_line(kind, at, at + timedelta(hours=draw(st.sampled_from([0, 0, 1, 30, 200])))))
    return lines


def facts_of(lines, *, as_of, known_at):
    return fold.fold("G-1", lines, as_of_at=as_of, known_at=known_at)


def answer_of(lines, *, as_of, known_at):
    return readiness.decide(facts_of(lines, as_of=as_of, known_at=known_at), FEDERAL, as_of=as_of.date())


MOMENTS = st.integers(0, DAYS * 24).map(lambda hours: START + timedelta(hours=hours))


@settings(max_examples=60)
@given(histories())
def test_as_of_now_is_the_live_view(lines):
    now = START + timedelta(days=DAYS + 10)
    assert facts_of(lines, as_of=now, known_at=now) == facts_of(
        lines, as_of=moments.FOR_EVER, known_at=moments.FOR_EVER
    )


@settings(max_examples=60)
@given(histories(), MOMENTS)
def test_what_was_known_then_is_the_replay_of_the_log_as_it_stood(lines, then):
    """What the screen told at that moment rested on the entries of that moment, and on no others."""
    log = [line for line in lines if line.recorded_at <= then]
    told = answer_of(log, as_of=then, known_at=moments.FOR_EVER)
    assert answer_of(lines, as_of=then, known_at=then) == told


@settings(max_examples=60)
@given(histories(), MOMENTS, st.sampled_from(KINDS), st.integers(0, DAYS * 24))
def test_a_late_entry_never_changes_what_was_known_then(lines, then, kind, hours):
    late = _line(kind, START + timedelta(hours=hours), then + timedelta(minutes=1))
    assert answer_of([*lines, late], as_of=then, known_at=then) == answer_of(lines, as_of=then, known_at=then)


def test_a_late_entry_changes_what_was_true_then():
    then = START + timedelta(days=5)
    lines = [received(), tested("accepted", at=START, recorded_at=START)]
    late = entry(
        "event",
        event="used_without_protectors",
        at=then - timedelta(hours=1),
        recorded_at=then + timedelta(days=1),
    )
    was = answer_of(lines, as_of=then, known_at=moments.FOR_EVER)
    now = answer_of([*lines, late], as_of=then, known_at=moments.FOR_EVER)
    assert "NEEDS_TEST" not in [reason.code for reason in was.reasons]
    assert "NEEDS_TEST" in [reason.code for reason in now.reasons]
    before = then - timedelta(hours=2)
    assert answer_of([*lines, late], as_of=before, known_at=moments.FOR_EVER) == answer_of(
        lines, as_of=before, known_at=moments.FOR_EVER
    )


def test_a_minute_that_the_clocks_showed_twice_is_two_moments_and_one_they_never_showed_none():
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("America/New_York")
    twice = moments.moments_of(datetime.fromisoformat("2026-11-01T01:30"), zone)
    assert [one.isoformat() for one in twice] == ["2026-11-01T05:30:00+00:00", "2026-11-01T06:30:00+00:00"]
    assert moments.moments_of(datetime.fromisoformat("2026-03-08T02:30"), zone) == ()
    assert moments.moments_of(datetime.fromisoformat("2026-09-10T05:52"), zone) == (
        datetime(2026, 9, 10, 9, 52, tzinfo=UTC),
    )
