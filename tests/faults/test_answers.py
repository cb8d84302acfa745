"""Whatever breaks while an answer is worked out, it is never good because of it."""

import random
from datetime import timedelta

import pytest
from django.db import OperationalError, connection

from gear.ledger import chain, reading
from gear.queries import answer, answers, everything, fleet, question, scanned
from gear.rules import clocks, codes, fold, packs, policy, readiness
from tests import builders
from tests.faults.writing import FailNth

pytestmark = pytest.mark.django_db
LAST = 60
BASE_URL = "https://gear.example"
CODE = codes.new_code(random.Random(1))


@pytest.fixture
def pair(db):
    """Good today, the left with a label."""
    left, right = builders.pair()
    builders.tested(left, right)
    builders.happened(left, "labelled", code=CODE)
    return left, right


WAYS = {
    "answer": lambda item: [answer(item.item_no, question())],
    "in the past": lambda item: [answer(item.item_no, question(builders.today()))],
    "known at": lambda item: [answer(item.item_no, question(known_at=question().asked_at))],
    "scanned": lambda _item: [scanned(CODE, question(), base_url=BASE_URL).answer],
    "answers": lambda item: answers([item.item_no], question()),
    "everything": lambda item: [one for one in everything(question()) if one.item_no == item.item_no],
    "fleet": lambda item: [one for one, _facts in fleet(question()) if one.item_no == item.item_no],
    "fleet then": lambda item: [
        one for one, _facts in fleet(question(question().asked_at)) if one.item_no == item.item_no
    ],
}


def told(way, item):
    return [one.verdict for one in WAYS[way](item)]


@pytest.mark.parametrize("way", WAYS)
def test_every_statement_of_an_answer_fails_in_turn(pair, way):
    """The fault comes through, or the answer is `unknown`: never `good`, never a list without the item."""
    for nth in range(1, LAST):
        fault = FailNth(nth)
        try:
            with connection.execute_wrapper(fault):
                verdicts = told(way, pair[0])
        except OperationalError:
            continue
        if not fault.fired:
            assert verdicts == ["good"]
            assert nth > 3
            return
        assert verdicts == ["unknown"]
    pytest.fail(f"still failing after {LAST} statements")


@pytest.mark.parametrize("way", WAYS)
def test_no_fault_turns_a_stop_into_good(pair, way):
    builders.happened(pair[1], "held", reason="x", on=builders.today() - timedelta(days=1))
    for nth in range(1, LAST):
        fault = FailNth(nth)
        try:
            with connection.execute_wrapper(fault):
                assert told(way, pair[0]) != ["good"]
        except OperationalError:
            continue
        if not fault.fired:
            return


def breaks(*_given, **_named):
    raise ZeroDivisionError("a bug")


def refuses(*_given, **_named):
    raise packs.PackRefused("the file is half written")


NEEDED = [
    (readiness, "decide", breaks),
    (readiness, "running_clocks", breaks),
    (readiness, "_verdict", breaks),
    (readiness, "_set_reasons", breaks),
    (clocks, "running", breaks),
    (clocks, "anniversary", breaks),
    (clocks, "limits_for", breaks),
    (packs, "load", refuses),
    (policy, "from_toml", refuses),
    (policy, "laxer_fields", lambda _policy, _pack: [policy.Refusal("intervals.glove", "x", "y", {})]),
]


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(
    ("module", "name", "broken"), NEEDED, ids=[name for _module, name, _broken in NEEDED]
)
def test_whatever_the_decision_stands_on_may_break_and_it_is_unknown(
    pair, monkeypatch, way, module, name, broken
):
    monkeypatch.setattr(module, name, broken)
    assert told(way, pair[0]) == ["unknown"]


@pytest.mark.parametrize("name", ["answer", "answers", "everything", "fleet then"])
@pytest.mark.parametrize(
    ("module", "what", "broken"),
    [
        (fold, "fold", lambda item_no, *_given, **_named: fold.from_json({})),
        (reading, "first_break", lambda *_given, **_named: chain.Break("ENTRY_CHANGED", 1)),
        (reading, "item_chains", lambda _pks: {}),
    ],
    ids=["fold", "first_break", "item_chains"],
)
def test_what_reads_the_entries_may_break_and_nothing_is_good(pair, monkeypatch, name, module, what, broken):
    monkeypatch.setattr(module, what, broken)
    try:
        assert "good" not in told(name, pair[0])
    except (KeyError, OperationalError):
        return


@pytest.mark.parametrize("way", WAYS)
def test_a_rule_pack_that_is_gone_or_altered_leaves_everything_unknown(pair, monkeypatch, tmp_path, way):
    honest = packs.load
    for spoil in ("gone", "cut", "flipped"):
        folder = tmp_path / spoil
        folder.mkdir()
        for file in packs.DEFAULT.iterdir():
            if file.is_file():
                (folder / file.name).write_bytes(file.read_bytes())
        target = folder / "us_federal.toml"
        content = target.read_bytes()
        if spoil == "gone":
            target.unlink()
        else:
            target.write_bytes(
                content[: len(content) // 2] if spoil == "cut" else content.replace(b"6", b"7", 1)
            )
        monkeypatch.setattr(
            packs, "load", lambda name, version=None, folder=folder: honest(name, version, folder)
        )
        assert told(way, pair[0]) == ["unknown"]


@pytest.mark.parametrize("way", ["answer", "in the past", "known at", "scanned", "answers"])
def test_a_pair_whose_other_hand_cannot_be_found_is_never_good(pair, past_the_guards, way):
    """The rows that find set members are an index; without them no mate is made up."""
    past_the_guards("DELETE FROM gear_membership WHERE item_id = %s", pair[1].pk)
    assert told(way, pair[0]) == ["stop"]
    past_the_guards("DELETE FROM gear_membership")
    assert told(way, pair[0]) == ["stop"]


def test_a_mate_whose_state_was_emptied_is_missed_in_lists(pair, past_the_guards):
    past_the_guards(
        "UPDATE gear_itemstate SET gear_set_id = NULL, facts = '{}' WHERE item_id = %s", pair[1].pk
    )
    assert told("fleet", pair[0]) == ["stop"]
    assert told("fleet", pair[1]) == ["unknown"]
