"""At the counter: whatever breaks in the middle leaves nothing, and of two clerks who take one pair, one gets it."""

from functools import partial
from uuid import uuid4

import pytest
from django.db import OperationalError, connection, connections

from gear.actions.acting import Act, Refused
from gear.actions.exchange import Exchange, exchange
from gear.actions.submissions import once
from gear.ledger import verify
from gear.models import Entry, ItemState, Submission
from gear.queries import question
from gear.queries.pairs import pair_with
from tests import builders
from tests.faults.test_storm import at_once
from tests.faults.writing import FailNth
from tests.gear.test_exchange import good_pair, worn_pair

pytestmark = pytest.mark.django_db(transaction=True)
LAST = 160  # no exchange needs as many statements


@pytest.fixture(autouse=True)
def not_forced_to_disk(transactional_db, monkeypatch):
    """Nothing here outlives the run, and an exchange is committed again and again."""
    if connection.vendor == "sqlite":
        options = connections["default"].settings_dict["OPTIONS"]
        monkeypatch.setitem(options, "init_command", options["init_command"].replace("FULL", "OFF"))
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA synchronous=OFF")


def where(*items):
    return [ItemState.objects.get(item=one).holder.name for one in items]


def test_every_statement_of_an_exchange_fails_in_turn_and_leaves_nothing():
    orla, dev = builders.person("clerk", "orla"), builders.holder("person", "Dev")
    shelf = builders.holder("shelf", "Returns")
    new, old = good_pair(), worn_pair(dev)
    days = pair_with(new[0], question()).days
    before = Entry.objects.count(), Submission.objects.count()
    act = Act(orla, id=uuid4())
    wanted = Exchange(dev, new[0], tuple(old), shelf, days)

    def send():
        return once(
            act.id, act="exchange", body={"x": 1}, by=orla, work=lambda: {"n": len(exchange(wanted, act=act))}
        )

    for nth in range(1, LAST):
        fault = FailNth(nth)
        try:
            with connection.execute_wrapper(fault):
                send()
        except OperationalError:
            assert fault.fired
        if not fault.fired:
            break
        assert (Entry.objects.count(), Submission.objects.count()) == before
        assert where(*new, *old) == ["The shelf", "The shelf", "Dev", "Dev"]
    else:
        pytest.fail(f"still failing after {LAST} statements")
    assert nth > 20
    assert where(*new, *old) == ["Dev", "Dev", "Returns", "Returns"]
    assert Entry.objects.count() == before[0] + 4
    assert send() == ({"n": 4}, False)
    assert verify.verify() == []


@pytest.mark.parametrize("round_number", range(3))
def test_of_two_clerks_who_take_the_same_pair_at_once_one_gets_it(round_number):
    clerks = [builders.person("clerk", name) for name in ("orla", "olive")]
    people = [builders.holder("person", name) for name in ("Dev", "Marisol")]
    new = good_pair()
    olds = [worn_pair(person) for person in people]
    shelf = builders.holder("shelf", "Returns")
    days = pair_with(new[0], question()).days
    # Each scans another piece of the same pair.
    works = [
        partial(exchange, Exchange(person, piece, tuple(old), shelf, days), act=Act(clerk))
        for clerk, person, piece, old in zip(clerks, people, new, olds, strict=True)
    ]
    results = at_once(*works)
    winners = [place for place, one in enumerate(results) if isinstance(one, list)]
    assert len(winners) == 1, results
    loser = results[1 - winners[0]]
    assert isinstance(loser, Refused)
    assert loser.code == "PAIR_IN_HANDS"
    assert where(*new) == [people[winners[0]].name] * 2
    assert where(*olds[winners[0]]) == ["Returns", "Returns"]
    assert where(*olds[1 - winners[0]]) == [people[1 - winners[0]].name] * 2
    assert verify.verify() == []
