"""ItemState is what the entries fold to, and rebuild_states proves and restores it without hiding a cut."""

from datetime import date, timedelta

import pytest
from django.core.management import CommandError, call_command

from gear.ledger import Draft, record_many
from gear.ledger.states import COLUMNS, differing, rebuild
from gear.models import Entry, GearSet, Holder, ItemState
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def book(db):
    """A pair in Dev's hands, with a label and a hold on the left; and a blanket on the shelf."""
    left, right = builders.pair("P-1")
    builders.tested(left, right, on=date(2026, 6, 1))
    builders.issued(left, right, on=date(2026, 6, 2), to=builders.holder("person", "Dev"))
    builders.happened(left, "labelled", code="ABCDEFGHJKM", on=date(2026, 6, 2))
    builders.happened(left, "held", reason="odd smell", on=date(2026, 6, 3))
    blanket = builders.blanket("B-1")
    return left, right, blanket


def checked(capsys):
    with pytest.raises(CommandError) as failure:
        call_command("rebuild_states", "--check")
    assert failure.value.returncode == 1
    return capsys.readouterr().out.split("\n")[:-1], str(failure.value)


def test_every_state_equals_the_fold_after_any_act(book, capsys):
    assert list(differing()) == []
    call_command("rebuild_states", "--check")
    assert capsys.readouterr().out == "Every state equals the fold of its entries.\n"


def test_the_columns_say_what_the_facts_say(book):
    left = ItemState.objects.get(item=book[0])
    assert (left.holder.name, left.gear_set.set_no, left.condition, left.usable_now) == (
        "Dev",
        "P-1",
        "held",
        True,
    )
    assert (left.last_test_on, left.first_issued_on, left.label) == (
        date(2026, 6, 1),
        date(2026, 6, 2),
        "ABCDEFGHJKM",
    )
    assert (left.good_through, left.winning_clock) == (date(2026, 12, 1), "first_issue+6")
    assert left.entry_count == Entry.objects.filter(item=book[0]).count()
    assert left.facts["holds"][0]["reason"] == "odd smell"


# By hand
def other_value(column, book):
    return {
        "holder_id": Holder.objects.create(kind="truck", name="T-99").pk,
        "gear_set_id": GearSet.objects.create(set_no="P-99", kind="pair").pk,
        "condition": "ok",
        "usable_now": False,
        "good_through": date(2040, 1, 1),
        "winning_clock": "last_test+60",
        "last_test_on": date(2026, 9, 9),
        "first_issued_on": None,
        "label": "BBBBBBBBBBB",
        "facts": {**ItemState.objects.get(item=book[0]).facts, "holds": []},
        "entry_count": 3,
        "head_hash": "f" * 64,
    }[column]


@pytest.mark.parametrize("column", COLUMNS)
def test_an_edit_of_any_column_by_hand_is_found_and_only_witnesses_are_left_as_they_are(book, capsys, column):
    ItemState.objects.filter(item=book[0]).update(**{column: other_value(column, book)})
    lines, sentence = checked(capsys)
    name = column.removesuffix("_id")
    assert lines == [f"{book[0].item_no}: {name}"]
    assert "1 values differ" in sentence
    call_command("rebuild_states")
    healed = column not in ("entry_count", "head_hash")
    assert list(differing()) == ([] if healed else [(book[0].item_no, name)])


def test_all_columns_of_a_state_are_checked_but_the_mark_of_the_verifier():
    attributes = {field.attname for field in ItemState._meta.fields}
    assert attributes - set(COLUMNS) == {"item_id", "chain_ok"}


def test_a_missing_state_is_found_and_not_made_up(book, capsys):
    ItemState.objects.filter(item=book[2]).delete()
    lines, _sentence = checked(capsys)
    assert lines == ["B-1: state"]
    assert rebuild() == 2
    assert list(differing()) == [("B-1", "state")]


@pytest.mark.parametrize("cut", [1, 2, 3])
def test_a_rebuild_never_heals_a_cut_chain(book, past_the_guards, cut):
    """The count and the newest hash witness what was once recorded; a rebuild that took the rest for it would lie."""
    left = book[0]
    for entry in Entry.objects.filter(item=left).order_by("-position")[:cut]:
        past_the_guards("DELETE FROM gear_label WHERE entry_id = %s", entry.id.hex)
        past_the_guards("DELETE FROM gear_entry WHERE id = %s", entry.id.hex)
    witnesses = ItemState.objects.values_list("entry_count", "head_hash").get(item=left)
    rebuild()
    assert ItemState.objects.values_list("entry_count", "head_hash").get(item=left) == witnesses
    assert list(differing()) == [(left.item_no, "entry_count"), (left.item_no, "head_hash")]


def test_the_command_rebuilds_and_says_how_many(book, capsys):
    ItemState.objects.update(facts={}, condition="ok")
    call_command("rebuild_states")
    assert capsys.readouterr().out == "3 items were folded again.\n"
    assert list(differing()) == []


def test_the_mark_of_the_verifier_survives_an_entry_and_a_rebuild(book):
    ItemState.objects.filter(item=book[2]).update(chain_ok=False)
    builders.happened(book[2], "noted", note="x")
    rebuild()
    assert ItemState.objects.get(item=book[2]).chain_ok is False


# Stored JSON is the same on both databases
def test_facts_in_any_language_and_of_any_size_come_back_equal(book):
    note = "Grünes Öl, 湿った、 🧤 \t \\ \" ' <b> " + "x" * 3000
    builders.happened(book[2], "held", reason=note)
    builders.tested(book[2], readings={"leakage_ma": "7.100", "seconds": 2**53 - 1, "words": ["é", "é"]})
    assert ItemState.objects.get(item=book[2]).facts["holds"][0]["reason"] == note
    assert list(differing()) == []


# Order of recording
def test_the_order_of_recording_makes_no_difference_to_any_state(db):
    """Tests imported before or after what they concern: the same entries of one item, in three orders."""
    march = date(2026, 3, 1)
    drafts = [
        ("tested", {"outcome": "accepted"}, 0),
        ("issued", {"holder": builders.holder("person", "Dev").as_fact()}, 1),
        ("event", {"event": "dropped"}, 10),
        ("tested", {"outcome": "void"}, 20),
        ("tested", {"outcome": "accepted"}, 30),
        ("moved", {"holder": builders.holder("truck", "T-01").as_fact()}, 40),
        ("needs_cleaning", {"reason": "tar"}, 50),
    ]
    states = []
    for number, order in enumerate([(0, 1, 2, 3, 4, 5, 6), (6, 5, 4, 3, 2, 1, 0), (4, 0, 6, 2, 5, 3, 1)]):
        blanket = builders.blanket(f"B-{number}")
        for at in order:
            kind, facts, days = drafts[at]
            if kind == "tested":
                judged_as = {"kind": "blanket", "class": "2"}
                facts = {
                    **facts,
                    "purpose": "in_service",
                    "pack": "p",
                    "judged_as": judged_as,
                    "readings": {},
                }
            record_many(
                [Draft(blanket, kind, facts, occurred_on=march + timedelta(days=days))], by=None, via="import"
            )
        state = ItemState.objects.get(item=blanket)
        facts = {name: value for name, value in state.facts.items() if name != "item_no"}
        states.append((without_ids(facts), state.good_through, state.condition, state.holder_id))
    assert states[0] == states[1] == states[2]
    assert states[0][1:3] == (date(2027, 3, 30), "needs_cleaning")


def without_ids(facts):
    return {
        name: {inner: one for inner, one in value.items() if inner != "entry"}
        if isinstance(value, dict)
        else value
        for name, value in facts.items()
    }
