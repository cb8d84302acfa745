"""Whatever breaks while an act is recorded: all of it or nothing, and the same act sent again is done exactly once."""

from datetime import timedelta
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.db import OperationalError, connection

from gear.actions import condition, corrections, custody, looks, sets
from gear.actions.acting import Act
from gear.actions.submissions import once
from gear.ledger import Draft, record, verify
from gear.models import Entry, Refusal, Submission
from gear.queries import answer, question
from tests import builders
from tests.faults.writing import FailNth, failing_commit

pytestmark = pytest.mark.django_db(transaction=True)
LAST = 120  # no act needs as many statements


def yesterday(days=1):
    return builders.today() - timedelta(days=days)


@pytest.fixture(autouse=True)
def not_forced_to_disk(transactional_db):
    """Nothing here outlives the run, and hundreds of acts are committed."""
    if connection.vendor != "sqlite":
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA synchronous=OFF")
    yield
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA synchronous=FULL")


@pytest.fixture
def people(db):
    roles = {"orla": "clerk", "dev": "worker", "ines": "supervisor", "iris": "supervisor"}
    return SimpleNamespace(**{name: builders.person(role, name) for name, role in roles.items()})


def good_pair():
    left, right = builders.pair()
    builders.tested(left, right, on=yesterday(10))
    return left, right


# name: (who, prepare -> work to be done on what it made). Each work may be done once.
def recording(_people):
    left, _right = good_pair()
    entry_id = uuid4()
    return left, lambda act: record(Draft(left, "held", {"reason": "x"}, id=entry_id), by=act.by, via="web")


def moving(_people):
    left, right = good_pair()
    return left, lambda act: custody.move([left, right], to=builders.holder("truck", "T-01"), act=act)


def issuing(_people):
    left, right = good_pair()
    return left, lambda act: custody.issue([left, right], to=builders.holder("person", "Dev"), act=act)


def holding(_people):
    left, _right = good_pair()
    return left, lambda act: condition.hold(left, reason="x", act=act)


def rejecting(_people):
    left, _right = good_pair()
    return left, lambda act: condition.reject(left, reason="x", act=act)


def reporting(_people):
    left, _right = good_pair()
    return left, lambda act: condition.report_event(left, event="flash_or_contact", act=act)


def releasing(people):
    left, _right = good_pair()
    held = builders.happened(left, "held", reason="x", by=people.dev, on=yesterday())
    return left, lambda act: condition.release(left, hold_id=str(held.id), reason="fine", act=act)


def destroying(people):
    left, _right = good_pair()
    builders.happened(left, "rejected", reason="x", on=yesterday())
    return left, lambda act: condition.destroy(left, witness=people.dev, reason="x", act=act)


def finding(_people):
    left, _right = good_pair()
    builders.happened(left, "lost", reason="x", on=yesterday())
    return left, lambda act: condition.report_found(left, act=act)


def cleaning(_people):
    left, _right = good_pair()
    builders.happened(left, "needs_cleaning", reason="x", on=yesterday())
    return left, lambda act: looks.mark_cleaned(left, act=act)


def correcting(people):
    left, _right = good_pair()
    wrong = builders.tested(left, on=yesterday(), outcome="failed", by=people.orla)[0]
    return left, lambda act: corrections.correct(wrong, new=None, reason="another glove", act=act)


def mating(_people):
    left, right = builders.glove(hand="L"), builders.glove(hand="R")
    builders.tested(left, right, on=yesterday())
    return left, lambda act: sets.mate(left, right, act=act)


def splitting(_people):
    left, _right = good_pair()
    return left, lambda act: sets.split(left, act=act)


ACTS = {
    recording: "orla",
    moving: "dev",
    issuing: "orla",
    holding: "dev",
    rejecting: "dev",
    reporting: "dev",
    releasing: "ines",
    destroying: "orla",
    finding: "dev",
    cleaning: "orla",
    correcting: "ines",
    mating: "orla",
    splitting: "orla",
}


class Trial:
    """One act that a client sends under an id of its own, as often as it must."""

    def __init__(self, prepare, people):
        self.person = getattr(people, ACTS[prepare])
        self.item, self.work = prepare(people)
        self.act = Act(self.person, via="api")
        self.before, self.verdict_before = self.rows(), self.verdict()

    def send(self):
        return once(self.act.id, act="trial", body={"do": "it"}, by=self.person, work=self.done)[1]

    def done(self):
        self.work(self.act)
        return {"done": True}

    def rows(self):
        return Entry.objects.count(), Submission.objects.count(), Refusal.objects.count()

    def verdict(self):
        return answer(self.item.item_no, question()).verdict

    def check_nothing_or_all(self, after, verdict_after):
        grown = tuple(now - then for now, then in zip(self.rows(), self.before, strict=True))
        assert grown in ((0, 0, 0), after)
        assert self.verdict() == (verdict_after if any(grown) else self.verdict_before)
        return any(grown)


@pytest.fixture
def flawless(people):
    """How many rows an act makes and what the answer is afterwards, when nothing breaks."""

    def run(prepare):
        trial = Trial(prepare, people)
        assert trial.send() is True
        return tuple(
            now - then for now, then in zip(trial.rows(), trial.before, strict=True)
        ), trial.verdict()

    return run


# Acts that differ in what they lock, read and store; the others take one of these ways.
WAYS = [recording, moving, holding, releasing, destroying, correcting, mating]


@pytest.mark.parametrize("prepare", WAYS, ids=lambda prepare: prepare.__name__)
def test_every_statement_of_an_act_fails_in_turn(people, flawless, prepare):
    after, verdict_after = flawless(prepare)
    assert after[0] > 0
    for nth in range(1, LAST):
        trial, fault = Trial(prepare, people), FailNth(nth)
        try:
            with connection.execute_wrapper(fault):
                trial.send()
        except OperationalError:
            assert fault.fired
        if not fault.fired:
            break
        assert trial.check_nothing_or_all(after, verdict_after) is False
        assert trial.send() is True
        assert trial.check_nothing_or_all(after, verdict_after) is True
        assert trial.send() is False
        assert trial.check_nothing_or_all(after, verdict_after) is True
    else:
        pytest.fail(f"still failing after {LAST} statements")
    assert nth > 8
    assert verify.verify() == []


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("prepare", ACTS, ids=lambda prepare: prepare.__name__)
def test_the_commit_of_an_act_fails(people, flawless, prepare, when):
    """Before it took effect nothing is there; after it, all of it is, and who sends again is told so."""
    after, verdict_after = flawless(prepare)
    trial = Trial(prepare, people)
    with failing_commit(when) as fired, pytest.raises(OperationalError, match="the line broke"):
        trial.send()
    assert fired
    assert trial.check_nothing_or_all(after, verdict_after) is (when == "after")
    assert trial.send() is (when == "before")
    assert trial.check_nothing_or_all(after, verdict_after) is True
    assert verify.verify() == []


def test_a_refusal_is_kept_or_the_whole_act_fails_never_half(people):
    """Every statement of a refused act fails in turn: the item is untouched, and at most one refusal is kept."""
    for nth in range(1, LAST):
        left, _right = good_pair()
        entries, refusals, fault = Entry.objects.count(), Refusal.objects.count(), FailNth(nth)
        with (
            pytest.raises(Exception, match="disk is full|No reason|Give a reason"),
            connection.execute_wrapper(fault),
        ):
            condition.hold(left, reason="", act=Act(people.dev))
        assert Entry.objects.count() == entries
        assert Refusal.objects.count() - refusals == (0 if fault.fired else 1)
        if not fault.fired:
            return
    pytest.fail(f"still failing after {LAST} statements")
