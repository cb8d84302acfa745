"""Many writers at once, some sending twice or for the wrong item: nothing lost, nothing double, nothing made up."""

import random
import threading
from collections import Counter
from functools import partial
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection, connections, transaction
from django.utils import timezone

from gear.actions import condition, custody
from gear.actions.acting import Act, Refused
from gear.actions.submissions import once
from gear.ledger import Draft, IdReused, make_seal, record, record_many, verify
from gear.ledger.writers import WritersBusy
from gear.management.commands import seal_ledger
from gear.models import Entry, ItemState, Refusal, Seal
from gear.queries import answer, question
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)
WRITERS = 8
OPERATIONS = 200


@pytest.fixture(autouse=True)
def not_forced_to_disk(transactional_db, monkeypatch):
    """SIGKILL is not power loss, and neither is tried here: threads have connections of their own, not to be slowed."""
    if connection.vendor == "sqlite":
        options = connections["default"].settings_dict["OPTIONS"]
        monkeypatch.setitem(options, "init_command", options["init_command"].replace("FULL", "OFF"))


def at_once(*works):
    """Run each in a thread with a database connection of its own; what they return or raise, in the same order."""
    gate, results = threading.Barrier(len(works)), [None] * len(works)

    def run(index, work):
        gate.wait()
        try:
            results[index] = work()
        except Exception as error:
            results[index] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(works)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    return results


def test_two_hundred_submits_by_eight_writers_each_sent_up_to_three_times():
    """Add-only set, checked as such: ok but missing = lost; twice = duplicated; there but never tried = phantom."""
    chance = random.Random(7)
    items = [builders.blanket(f"B-{number}") for number in range(6)]
    operations = [
        Draft(chance.choice(items), "noted", {"note": f"note {number}"}, id=UUID(int=number + 1))
        for number in range(OPERATIONS)
    ]
    before = set(Entry.objects.values_list("pk", flat=True))
    sendings = [one for one in operations for _again in range(chance.randint(1, 3))]
    chance.shuffle(sendings)
    acknowledged, failed = Counter(), []

    def send(mine):
        for draft in mine:
            try:
                acknowledged[record(draft, by=None, via="api").id] += 1
            except OperationalError as error:
                failed.append(error)

    results = at_once(*(lambda mine=sendings[start::WRITERS]: send(mine) for start in range(WRITERS)))
    assert results == [None] * WRITERS
    assert failed == []
    stored = Counter(Entry.objects.exclude(pk__in=before).values_list("pk", flat=True))
    tried = {draft.id: draft for draft in operations}
    assert set(acknowledged) - set(stored) == set(), "lost"
    assert [key for key, times in stored.items() if times > 1] == [], "duplicated"
    assert set(stored) - set(tried) == set(), "phantom"
    assert len(stored) == OPERATIONS
    for entry in Entry.objects.exclude(pk__in=before):
        assert (entry.item_id, entry.facts["note"]) == (
            tried[entry.id].subject.pk,
            tried[entry.id].facts["note"],
        )
    assert verify.verify() == []


def test_acts_on_many_items_at_once_in_any_order_never_wait_for_each_other_for_ever():
    """Locks are taken in one order, whatever order the items are named in."""
    items = [builders.blanket(f"B-{number}") for number in range(5)]
    chance = random.Random(3)

    def send(number):
        mine = chance.sample(items, 4)
        drafts = [Draft(one, "noted", {"note": str(number)}) for one in mine]
        drafts.append(Draft(None, "person_changed", {"person": "x", "change": str(number)}))
        return len(record_many(drafts, by=None, via="api"))

    results = at_once(*(lambda n=number: [send(n) for _one in range(6)] for number in range(WRITERS)))
    assert results == [[5] * 6] * WRITERS
    assert verify.verify() == []


def test_one_id_for_two_items_at_the_same_moment_is_recorded_for_one_of_them():
    items = [builders.blanket(f"B-{number}") for number in range(4)]
    for round_number in range(5):
        same = UUID(int=1000 + round_number)
        drafts = [Draft(one, "noted", {"note": "x"}, id=same) for one in items]
        results = at_once(*(partial(record, draft, by=None, via="api") for draft in drafts))
        assert Counter(type(result) for result in results) == {Entry: 1, IdReused: 3}
        assert Entry.objects.filter(pk=same).count() == 1
    assert verify.verify() == []


def test_the_same_form_sent_fifty_times_is_one_act():
    left, right = builders.pair()
    builders.tested(left, right)
    dev = builders.person("worker", "dev")
    truck, act = builders.holder("truck", "T-01"), Act(dev)

    def send():
        return once(
            act.id,
            act="move",
            body={"to": "T-01"},
            by=dev,
            work=lambda: {"n": len(custody.move([left, right], to=truck, act=act))},
        )

    results = at_once(*(lambda: [send() for _one in range(5)] for _writer in range(10)))
    told = [answer for writer in results for answer, _now in writer]
    assert told == [{"n": 2}] * 50
    assert sum(now for writer in results for _answer, now in writer) == 1
    assert Entry.objects.filter(kind="moved").count() == 2
    assert Refusal.objects.count() == 0


@pytest.mark.parametrize("round_number", range(5))
def test_a_pass_and_a_failure_logged_at_the_same_moment_is_a_stop(round_number):
    blanket = builders.blanket()
    at_once(lambda: builders.tested(blanket), lambda: builders.tested(blanket, outcome="failed"))
    assert Entry.objects.filter(item=blanket, kind="tested").count() == 2
    assert answer(blanket.item_no, question()).verdict == "stop"
    assert ItemState.objects.get(item=blanket).condition == "rejected"


def test_an_issue_and_a_hold_at_the_same_moment_end_with_the_hold_on_record():
    for _round in range(5):
        left, right = builders.pair()
        builders.tested(left, right)
        orla, dev = builders.person("clerk", "orla"), builders.person("worker", "dev")
        hand = builders.holder("person", "Dev")
        issued, held = at_once(
            partial(custody.issue, [left, right], to=hand, act=Act(orla)),
            partial(condition.hold, left, reason="x", act=Act(dev)),
        )
        assert isinstance(held, Entry)
        assert isinstance(issued, list | Refused)
        assert [answer(one.item_no, question()).verdict for one in (left, right)] == ["stop", "stop"]
    assert verify.verify() == []


def test_a_reader_sees_a_record_before_or_after_a_write_and_never_a_broken_one():
    blanket = builders.blanket("B-1")
    builders.tested(blanket)
    done = threading.Event()

    def write():
        for number in range(40):
            record(Draft(blanket, "noted", {"note": str(number)}), by=None, via="api")
        done.set()

    def read():
        seen = Counter()
        while not done.is_set():
            seen[answer("B-1", question()).verdict] += 1
        return seen

    results = at_once(write, read, read)
    assert results[0] is None
    for seen in results[1:]:
        assert set(seen) <= {"good"}, seen


def test_seals_made_in_the_middle_of_a_storm_cover_every_row_once():
    items = [builders.blanket(f"B-{number}") for number in range(4)]
    done = threading.Event()

    def write(one):
        for number in range(25):
            record(Draft(one, "noted", {"note": str(number)}), by=None, via="api")
            condition_refused(one)

    def condition_refused(one):
        with pytest.raises(Refused):
            condition.hold(one, reason="", act=Act(None))

    def seal():
        made = 0
        while not done.is_set():
            try:
                made += make_seal(timezone.now()) is not None
            except (WritersBusy, OperationalError):
                continue
            finally:
                done.wait(0.02)  # SQLite serves whoever asks at the right moment: the writers need one too
        return made

    def all_writers():
        results = at_once(*(lambda one=one: write(one) for one in items))
        done.set()
        return results

    writers, sealed = at_once(all_writers, seal)
    assert writers == [None] * 4
    assert sealed == Seal.objects.count()
    assert sealed > 0
    make_seal(timezone.now())
    last = Seal.objects.latest("number")
    assert last.row_count == Entry.objects.count() + Refusal.objects.count()
    assert verify.verify() == []


def test_a_seal_gives_up_while_an_act_takes_long_and_is_made_once_it_is_done():
    """PostgreSQL lets readers and other writers wait behind a waiting seal; SQLite has one writer at a time anyway."""
    blanket = builders.blanket()
    begun, go_on = threading.Event(), threading.Event()

    def long_act():
        with transaction.atomic():
            record(Draft(blanket, "noted", {"note": "x"}), by=None, via="import")
            begun.set()
            assert go_on.wait(60)

    def seal():
        assert begun.wait(60)
        if connection.vendor == "postgresql":
            with pytest.raises(WritersBusy, match="Try again later"):
                make_seal(timezone.now())
        go_on.set()
        return make_seal_soon()

    def make_seal_soon():
        while True:
            try:
                return make_seal(timezone.now()).row_count
            except WritersBusy:
                continue

    assert at_once(long_act, seal) == [None, 2]
    assert verify.verify() == []


def test_the_daily_command_tries_again_while_writers_are_busy_and_says_so_in_the_end(monkeypatch, capsys):
    builders.blanket()
    tries, honest = [], seal_ledger.make_seal

    def busy(moment):
        tries.append(moment)
        if len(tries) < 4:
            raise WritersBusy("An act is under way. Try again later.")
        return honest(moment)

    monkeypatch.setattr(seal_ledger, "sleep", lambda _seconds: None)
    monkeypatch.setattr(seal_ledger, "make_seal", busy)
    call_command("seal_ledger")
    assert capsys.readouterr().out.startswith("Sealed. Seal 1:")
    assert len(tries) == 4
    tries.clear()
    monkeypatch.setattr(seal_ledger, "make_seal", lambda _moment: busy_for_ever(tries))
    with pytest.raises(CommandError, match="Try again later"):
        call_command("seal_ledger", "--now")
    assert len(tries) == seal_ledger.TRIES


def busy_for_ever(tries):
    tries.append(1)
    raise WritersBusy("An act is under way. Try again later.")
