"""verify_ledger finds whatever was changed by hand, names it, and answers about it are unknown from then on."""

# ruff: noqa: S608 - what tampers with every column names the columns itself
from datetime import timedelta
from uuid import UUID

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from gear.ledger import Draft, payload, reading, record, verify
from gear.ledger.problems import Problem
from gear.models import Entry, GearSet, ItemState, Membership, SiteHead, User
from gear.queries import answer, fleet, question
from gear.rules.hashing import entry_hash
from tests import builders

pytestmark = pytest.mark.django_db
OTHER = {
    "id": UUID(int=7).hex,
    "gear_set_id": None,
    "position": 9,
    "kind": "noted",
    "occurred_at": "2026-02-03 04:05:06+00:00",
    "occurred_on": "2026-02-03",
    "precision": "moment",
    "recorded_at": "2026-02-03 04:05:06+00:00",
    "via": "api",
    "device": "another",
    "facts": '{"v": 1, "reason": "nothing"}',
    "previous_hash": "f" * 64,
    "hash": "0" * 64,
}


@pytest.fixture
def book(db):
    """A blanket with five entries, tested today and so good; a pair; a site entry; all people named."""
    ines, orla = builders.person("supervisor", "ines"), builders.person("clerk", "orla")
    blanket = builders.blanket("B-1", label="ABCDEFGHJKM")
    yesterday = builders.today() - timedelta(days=1)
    hold = builders.happened(blanket, "held", reason="odd smell", by=orla, on=yesterday)
    builders.happened(blanket, "released", hold=str(hold.id), reason="aired", by=ines)
    builders.tested(blanket)
    pair = builders.pair("P-1")
    builders.tested(*pair)
    record(Draft(None, "person_changed", {"person": "orla", "change": "role"}), by=ines, via="web")
    return blanket


def entries_of(item):
    return list(Entry.objects.filter(item=item).order_by("position"))


def found(*anchors):
    return {(problem.subject, problem.code) for problem in verify.verify(anchors)}


def verdict(item_no):
    return answer(item_no, question()).verdict


def verdicts():
    return {told.item_no: told.verdict for told, _facts in fleet(question())}


def test_a_whole_record_has_no_problem(book):
    left, right = Membership.objects.order_by("pk").values_list("item__item_no", flat=True)
    assert verify.verify() == []
    assert verdicts() == {"B-1": "good", left: "good", right: "good"}


# Every column of an entry
COLUMNS = [field.column for field in Entry._meta.fields]


def other_value(column, item):
    if column in OTHER:
        return OTHER[column]
    if column == "item_id":
        return Membership.objects.order_by("pk").first().item_id
    if column == "by_id":
        return User.objects.get(username="ines").pk
    return None


@pytest.mark.parametrize("column", sorted(set(COLUMNS) - {"gear_set_id", "corrects_id"}))
def test_an_edit_of_any_column_of_an_entry_is_found(book, past_the_guards, column):
    held = entries_of(book)[2]
    if column == "item_id":
        past_the_guards("UPDATE gear_entry SET position = 9 WHERE id = %s", held.id.hex)
    past_the_guards(
        f'UPDATE gear_entry SET "{column}" = %s WHERE id = %s', other_value(column, book), held.id.hex
    )
    assert verdict("B-1") == "unknown"  # at once, before anyone verified anything
    problems = verify.verify()
    assert problems
    assert all(problem.sentence and problem.code for problem in problems)
    assert "item:B-1" in {problem.subject for problem in problems}
    assert verdicts()["B-1"] == "unknown"


def test_an_entry_moved_from_an_item_to_a_set_or_to_another_correction_is_found(book, past_the_guards):
    held, released = entries_of(book)[2:4]
    fixed = builders.happened(book, "noted", note="x")
    correction = record(
        Draft(book, "corrected", {"reason": "typed wrong", "replacement": None}, corrects=fixed),
        by=None,
        via="web",
    )
    past_the_guards(
        "UPDATE gear_entry SET corrects_id = %s WHERE id = %s", released.id.hex, correction.id.hex
    )
    assert found() == {("item:B-1", "ENTRY_CHANGED")}
    past_the_guards(
        "UPDATE gear_entry SET gear_set_id = %s, item_id = NULL, position = 9 WHERE id = %s",
        GearSet.objects.get().pk,
        held.id.hex,
    )
    assert found() == {("item:B-1", "ENTRY_MISSING"), ("set:P-1", "ENTRY_MISSING")}


def test_the_problem_names_the_item_the_entry_and_what_to_do(book, past_the_guards):
    held = entries_of(book)[2]
    past_the_guards("UPDATE gear_entry SET device = 'x' WHERE id = %s", held.id.hex)
    (problem,) = verify.verify()
    assert (problem.subject, problem.code) == ("item:B-1", "ENTRY_CHANGED")
    assert "item:B-1" in problem.sentence
    assert str(held.id) in problem.sentence
    assert "backup" in problem.sentence


# Deleted, inserted, reordered, cut
@pytest.mark.parametrize("position", [1, 2, 3, 4, 5])
def test_a_deleted_entry_is_found(book, past_the_guards, position):
    delete(past_the_guards, entries_of(book)[position - 1])
    code = "HEAD_DIFFERS" if position == 5 else "ENTRY_MISSING"
    assert ("item:B-1", code) in found()
    assert verdict("B-1") == "unknown"


def delete(past_the_guards, entry):
    for table in ("gear_label", "gear_membership"):
        past_the_guards(f"DELETE FROM {table} WHERE entry_id = %s", entry.id.hex)
    past_the_guards("DELETE FROM gear_entry WHERE id = %s", entry.id.hex)


@pytest.mark.parametrize("position", [1, 2, 3, 4])
def test_a_deleted_entry_is_found_when_those_after_it_are_renumbered(book, past_the_guards, position):
    delete(past_the_guards, entries_of(book)[position - 1])
    for later in range(position + 1, 6):
        past_the_guards(
            "UPDATE gear_entry SET position = %s WHERE item_id = %s AND position = %s",
            later - 1,
            book.pk,
            later,
        )
    past_the_guards("UPDATE gear_itemstate SET entry_count = 4 WHERE item_id = %s", book.pk)
    assert ("item:B-1", "ENTRY_MISPLACED") in found()


@pytest.mark.parametrize("cut", [1, 2, 3, 4, 5])
def test_a_cut_tail_is_found_even_when_the_count_was_fixed(book, past_the_guards, cut):
    for entry in entries_of(book)[-cut:]:
        delete(past_the_guards, entry)
    assert ("item:B-1", "HEAD_DIFFERS") in found()
    past_the_guards("UPDATE gear_itemstate SET entry_count = %s WHERE item_id = %s", 5 - cut, book.pk)
    assert ("item:B-1", "HEAD_DIFFERS") in found()
    assert verdict("B-1") == "unknown"


def test_two_entries_that_changed_places_are_found(book, past_the_guards):
    first, second = entries_of(book)[2:4]
    for entry, position in ((first, 99), (second, 3), (first, 4)):
        past_the_guards("UPDATE gear_entry SET position = %s WHERE id = %s", position, entry.id.hex)
    assert found() == {("item:B-1", "ENTRY_MISPLACED")}


def test_an_inserted_entry_is_found(book, past_the_guards):
    """At the end, with a right hash and the place after the newest: the head does not know it."""
    newest = entries_of(book)[-1]
    newest.id, newest.position, newest.previous_hash = UUID(int=9), 6, newest.hash
    newest.hash = rehashed(newest)
    Entry.objects.bulk_create([newest])
    assert found() == {("item:B-1", "HEAD_DIFFERS")}
    assert verdict("B-1") == "unknown"


def rehashed(entry):
    by = entry.by.username if entry.by else ""
    return entry_hash(payload(entry, subject=f"item:{entry.item.item_no}", by=by), entry.previous_hash)


def test_an_entry_about_an_item_that_is_not_there_is_found(book, past_the_guards):
    held = entries_of(book)[2]
    if connection.vendor == "postgresql":
        past_the_guards("SET CONSTRAINTS ALL DEFERRED")
    past_the_guards("UPDATE gear_entry SET item_id = 99999, position = 1 WHERE id = %s", held.id.hex)
    assert {("table:gear_entry", "ENTRY_STRAY"), ("item:B-1", "ENTRY_MISSING")} <= found()


# Heads and names
@pytest.mark.parametrize(
    ("table", "where", "subject"),
    [
        ("gear_itemstate", "item_id = (SELECT id FROM gear_item WHERE item_no = 'B-1')", "item:B-1"),
        ("gear_gearset", "set_no = 'P-1'", "set:P-1"),
        ("gear_sitehead", "id > 0", "site"),
    ],
)
@pytest.mark.parametrize(("column", "value"), [("entry_count", 1000), ("head_hash", "f" * 64)])
def test_a_head_that_says_something_else_is_found(
    book, past_the_guards, table, where, subject, column, value
):
    past_the_guards(f"UPDATE {table} SET {column} = %s WHERE {where}", value)
    assert (subject, "HEAD_DIFFERS") in found()


def test_a_missing_head_is_found(book, past_the_guards):
    past_the_guards("DELETE FROM gear_sitehead")
    past_the_guards("DELETE FROM gear_itemstate WHERE item_id = %s", book.pk)
    assert found() == {("item:B-1", "STATE_MISSING"), ("site", "STATE_MISSING")}


@pytest.mark.parametrize(
    ("sql", "subject"),
    [
        ("UPDATE gear_item SET item_no = 'B-2' WHERE item_no = 'B-1'", "item:B-2"),
        ("UPDATE gear_gearset SET set_no = 'P-2'", "set:P-2"),
        ("UPDATE gear_user SET username = 'zoe' WHERE username = 'orla'", "item:B-1"),
    ],
)
def test_another_name_for_an_item_a_set_or_a_person_is_found(book, past_the_guards, sql, subject):
    past_the_guards(sql)
    assert (subject, "ENTRY_CHANGED") in found()


# What stands beside the entries
@pytest.mark.parametrize(
    ("sql", "subject", "code"),
    [
        ("DELETE FROM gear_label", "item:B-1", "LABEL_DIFFERS"),
        ("UPDATE gear_label SET code = 'BBBBBBBBBBB'", "item:B-1", "LABEL_DIFFERS"),
        (
            "UPDATE gear_label SET item_id = (SELECT min(item_id) FROM gear_membership)",
            "item:B-1",
            "LABEL_DIFFERS",
        ),
        (
            "UPDATE gear_label SET entry_id = (SELECT id FROM gear_entry WHERE kind = 'held')",
            "item:B-1",
            "LABEL_DIFFERS",
        ),
        ("UPDATE gear_itemstate SET facts = '{}'", "item:B-1", "STATE_DIFFERS"),
        ("UPDATE gear_gearset SET required = 1", "set:P-1", "SET_DIFFERS"),
        ("UPDATE gear_gearset SET kind = 'kit'", "set:P-1", "SET_DIFFERS"),
    ],
)
def test_what_does_not_say_what_the_entries_say_is_found(book, past_the_guards, sql, subject, code):
    past_the_guards(sql)
    assert (subject, code) in found()


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE gear_item SET serial = 'X-9' WHERE item_no = 'B-1'",
        "UPDATE gear_item SET hand = 'L' WHERE item_no = 'B-1'",
        "UPDATE gear_item SET made_on = '2020-01-01' WHERE item_no = 'B-1'",
        "UPDATE gear_item SET item_type_id = (SELECT id FROM gear_itemtype WHERE kind = 'glove') WHERE item_no = 'B-1'",
        "UPDATE gear_itemtype SET class = '4' WHERE kind = 'blanket'",
        "UPDATE gear_itemtype SET rated_kv = 36 WHERE kind = 'blanket'",
    ],
)
def test_a_book_that_does_not_say_what_the_entries_say_is_found(book, past_the_guards, sql):
    past_the_guards(sql)
    assert {("item:B-1", "BOOK_DIFFERS")} == found()
    assert verdict("B-1") == "unknown"


def test_a_membership_removed_or_moved_is_found(book, past_the_guards):
    row = Membership.objects.order_by("pk").first()
    past_the_guards("UPDATE gear_membership SET item_id = %s WHERE id = %s", book.pk, row.pk)
    assert {("item:B-1", "MEMBERSHIP_DIFFERS"), (f"item:{row.item.item_no}", "MEMBERSHIP_DIFFERS")} <= found()


def test_a_broken_set_makes_its_members_unknown(book, past_the_guards):
    left, right = Membership.objects.order_by("pk").values_list("item__item_no", flat=True)
    past_the_guards("UPDATE gear_gearset SET head_hash = 'x'")
    assert (verdict(left), verdict(right), verdict("B-1")) == ("unknown", "unknown", "good")
    verify.verify()
    assert verdicts() == {left: "unknown", right: "unknown", "B-1": "good"}


def test_a_grounding_set_is_complete_by_its_entries_whatever_its_row_says(past_the_guards):
    one, two, three = builders.grounding_set(3, set_no="S-1")
    builders.tested(one, two, three)
    builders.happened(three, "left_set", set_no="S-1")
    past_the_guards("UPDATE gear_gearset SET required = 2")
    assert verdict(one.item_no) == "stop"
    verify.verify()
    assert verdicts()[one.item_no] == "unknown"


# Marks
def test_what_was_marked_broken_is_unknown_until_it_is_whole_again(book, past_the_guards):
    past_the_guards("UPDATE gear_itemstate SET facts = '{}' WHERE item_id = %s", book.pk)
    verify.verify()
    assert ItemState.objects.get(item=book).chain_ok is False
    assert (verdict("B-1"), verdicts()["B-1"]) == ("unknown", "unknown")
    call_command("rebuild_states")
    assert verdict("B-1") == "unknown"
    assert verify.verify() == []
    assert (verdict("B-1"), verdicts()["B-1"]) == ("good", "good")


def test_a_broken_site_record_leaves_no_rule_to_answer_by(book, past_the_guards):
    assert verdict("B-1") == "good"
    SiteHead.objects.update(chain_ok=False)
    assert verdict("B-1") == "unknown"
    verify.verify()
    assert verdict("B-1") == "good"
    past_the_guards("UPDATE gear_entry SET previous_hash = 'x' WHERE kind = 'person_changed'")
    assert verdict("B-1") == "unknown"
    assert found() == {("site", "ENTRY_MISPLACED")}


def test_a_look_that_only_a_writer_made_fail_is_looked_at_again(book, monkeypatch):
    honest, looks = reading.item_chains, []

    def once_wrong(pks):
        chains = honest(pks)
        looks.append(sorted(pks))
        if len(looks) < reading.LOOKS:
            chains[book.pk].count += 1
        return chains

    monkeypatch.setattr(reading, "item_chains", once_wrong)
    assert verify.verify() == []
    assert looks == [sorted(ItemState.objects.values_list("pk", flat=True)), [book.pk], [book.pk]]


def test_the_number_of_queries_does_not_grow_with_the_items(book):
    with CaptureQueriesContext(connection) as few:
        verify.verify()
    for _one in range(20):
        builders.pair()
    with CaptureQueriesContext(connection) as many:
        verify.verify()
    assert len(many) == len(few)


# Values that are not of their kind: SQLite takes any text for a moment, PostgreSQL refuses it.
@pytest.mark.parametrize("column", ["recorded_at", "occurred_at", "occurred_on", "id", "position"])
def test_a_value_that_is_not_of_its_kind_is_found_and_stops_no_other(book, past_the_guards, column):
    held = entries_of(book)[2]

    def garble():
        past_the_guards(f'UPDATE gear_entry SET "{column}" = %s WHERE id = %s', "2026-99-99 no", held.id.hex)

    if connection.vendor == "postgresql":
        with pytest.raises(DatabaseError), transaction.atomic():
            garble()
        return
    garble()
    assert "item:B-1" in {subject for subject, _code in found()}
    assert verdict("B-1") == "unknown"
    left, _right = Membership.objects.order_by("pk").values_list("item__item_no", flat=True)
    assert verdict(left) == "good"


def test_detail_rows_of_other_apps_are_checked_too(book, monkeypatch):
    problem = Problem("item:B-1", "DETAIL_DIFFERS", "item:B-1: its test of today differs.")
    monkeypatch.setattr(verify, "DETAIL_CHECKS", [lambda: [problem]])
    assert verify.verify() == [problem]
    assert verdict("B-1") == "unknown"
