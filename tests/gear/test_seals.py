"""The daily seal covers every row exactly once, and whatever is changed behind it shows."""

# ruff: noqa: S608 - what tampers with every column names the columns itself
import json
from datetime import timedelta
from uuid import UUID, uuid4

import pytest
import time_machine
from django.apps import apps
from django.core.management import CommandError, call_command
from django.utils import timezone

from gear.ledger import append, last_seal, make_seal, payload, seals, verify
from gear.ledger.seals import Anchor
from gear.ledger.states import rebuild
from gear.models import (
    AppendOnly,
    Entry,
    GivenAnswer,
    HoldBatch,
    ImportedFile,
    Photo,
    Refusal,
    Seal,
)
from gear.models.evidence import Immutable, Sealed
from gear.queries import answer, question
from gear.rules.hashing import entry_hash, merkle_root
from tests import builders
from tests.gear.sealed_rows import MAKE, given, refusal

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)
SEALED = len(MAKE) + 3  # one row of each table, and the two entries and the given answer of a blanket


@pytest.fixture
def sealed(db):
    """A tested blanket, a row of every other sealed table, and a seal over them all."""
    blanket = builders.blanket("B-1")
    builders.tested(blanket, by=builders.person("clerk", "orla"))
    for make in MAKE.values():
        append(make())
    append(given(blanket, by=builders.person("worker", "dev")))
    return make_seal(timezone.now())


def found(*anchors):
    return {(problem.subject, problem.code) for problem in verify.verify(anchors)}


# What is sealed
def test_every_evidence_table_is_sealed_or_answered_for_by_another_check():
    """Labels and memberships are indexes into entries; seals bind one another; detail rows repeat their entry."""
    answered_for = {"gear_label", "gear_membership", "gear_batchhold", "gear_printedlabel", "gear_seal"}
    answered_for |= {"gear_nightlyresult"}  # what a night said is no evidence of gear
    # test_beside.py
    answered_for |= {"gear_qualification", "gear_destructionbatch", "gear_sightingnote", "gear_staleusenote"}
    answered_for |= {"gear_evidencekept"}
    book = [model for model in apps.get_app_config("gear").get_models() if issubclass(model, AppendOnly)]
    tables = {model._meta.db_table for model in book}
    assert tables - answered_for == {model._meta.db_table for model in seals.DATED_BY}
    assert set(MAKE) == set(seals.DATED_BY) - {Entry}


def test_the_sealed_tables_of_the_other_apps_are_covered_without_being_named():
    """Whatever derives from Sealed is found by itself, so that no table can be forgotten."""
    deriving = {model for model in apps.get_models() if issubclass(model, Sealed)}
    assert deriving | {Entry} == set(seals.dated_by())
    assert list(seals.dated_by())[: len(seals.DATED_BY)] == list(seals.DATED_BY)
    assert all({"at", "by"} <= {field.name for field in model._meta.fields} for model in deriving)


def test_a_seal_is_a_count_and_a_root_over_everything_recorded_so_far(sealed):
    hashes = list(Entry.objects.order_by("recorded_at", "pk").values_list("hash", flat=True))
    leaves = seals.leaves_between(None, sealed.sealed_at)
    assert leaves[:2] == hashes
    assert (sealed.number, sealed.row_count, sealed.previous_hash) == (1, SEALED, "")
    assert sealed.merkle_root == merkle_root(leaves)
    assert verify.verify() == []


def test_the_hash_of_a_seal_binds_its_figures_and_the_seal_before(sealed):
    builders.blanket("B-2")
    second = make_seal(timezone.now())
    assert (second.number, second.row_count, second.previous_hash) == (2, SEALED + 1, sealed.hash)
    stated = {
        "number": 2,
        "sealed_at": second.sealed_at.strftime("%Y-%m-%dT%H:%M:%S.%f+00:00"),
        "row_count": SEALED + 1,
        "merkle_root": second.merkle_root,
    }
    assert second.hash == entry_hash(stated, sealed.hash)
    assert last_seal() == second


def test_nothing_new_makes_no_seal(sealed):
    assert make_seal(timezone.now()) is None
    assert make_seal(sealed.sealed_at - SECOND) is None
    assert Seal.objects.count() == 1


def test_nothing_at_all_makes_no_seal_and_none_is_no_error(db):
    assert make_seal(timezone.now()) is None
    assert last_seal() is None
    assert verify.verify() == []


def test_a_row_that_cannot_be_sealed_is_not_stored(db):
    for reasons in ([0.5], [{1: "x"}]):
        with pytest.raises(TypeError):
            append(given(reasons=reasons))
    assert GivenAnswer.objects.count() == 0


@pytest.mark.parametrize("model", MAKE, ids=lambda model: model.__name__)
def test_no_row_is_stored_past_the_writers(db, model):
    row = MAKE[model]()
    row.at = timezone.now()
    with pytest.raises(Immutable, match=r"gear\.ledger\.append"):
        row.save()


# Nothing slips in behind a seal
def test_what_is_recorded_after_a_seal_is_dated_after_it_whatever_the_clock_says(sealed):
    with time_machine.travel(sealed.sealed_at - timedelta(minutes=3), tick=False):
        blanket = builders.blanket("B-2")
        append(refusal())
    entry = Entry.objects.get(item=blanket)
    late = Refusal.objects.latest("at")
    assert entry.recorded_at > sealed.sealed_at
    assert late.at > sealed.sealed_at
    assert verify.verify() == []
    assert make_seal(timezone.now()).row_count == SEALED + 2
    assert verify.verify() == []


def test_what_a_server_ahead_of_its_time_recorded_waits_for_a_later_seal(sealed):
    with time_machine.travel(timezone.now() + timedelta(minutes=2), tick=False):
        builders.blanket("B-2")
    assert make_seal(timezone.now()) is None
    with time_machine.travel(timezone.now() + timedelta(minutes=3), tick=False):
        assert make_seal(timezone.now()).row_count == SEALED + 1
    assert verify.verify() == []


# Every column of every row behind a seal
OTHER = {
    "AutoField": 77,
    "CharField": "another",
    "TextField": "another",
    "UUIDField": UUID(int=3).hex,
    "DateTimeField": "2026-02-03 04:05:06+00:00",
    "DateField": "2026-02-03",
    "PositiveIntegerField": 12345,
    "PositiveSmallIntegerField": 12345,
    "JSONField": '["another"]',
    "BooleanField": False,
    "SmallIntegerField": 12345,
}
CASES = [
    (model, field)
    for model in MAKE
    for field in model._meta.fields
    if (model, field.name) != (ImportedFile, "content")
]


def other_value(model, field):
    if field.name == "verdict":
        return "good"
    if field.name == "about":
        return "trace"
    if field.name == "by":
        return builders.person("supervisor", "ines").pk
    if field.name == "item":
        return builders.blanket("B-other").pk
    if field.name == "entry":
        return Entry.objects.get(item=builders.blanket("B-other")).pk.hex
    return OTHER[field.get_internal_type()]


@pytest.mark.parametrize(
    ("model", "field"), CASES, ids=[f"{model.__name__}.{field.name}" for model, field in CASES]
)
def test_an_edit_of_any_column_of_a_sealed_row_is_found(sealed, past_the_guards, model, field):
    row = model.objects.filter(**({"by": None} if model is GivenAnswer else {})).get()
    table, key = model._meta.db_table, row.pk.hex
    past_the_guards(f'UPDATE {table} SET "{field.column}" = %s WHERE id = %s', other_value(model, field), key)
    assert ("seal:1", "ROWS_CHANGED") in found()


@pytest.mark.parametrize("model", MAKE, ids=lambda model: model.__name__)
def test_a_deleted_and_an_inserted_row_behind_a_seal_is_found(sealed, past_the_guards, model):
    row = model.objects.order_by("pk").first()
    past_the_guards(f"DELETE FROM {model._meta.db_table} WHERE id = %s", row.pk.hex)
    assert ("seal:1", "ROWS_COUNT") in found()
    row.pk = uuid4()
    model.objects.bulk_create([row])
    assert ("seal:1", "ROWS_CHANGED") in found()
    row.pk = uuid4()
    unique = {HoldBatch: ("number", "H-0002"), Photo: ("path", "photos/2026/11/b.jpg")}
    if model in unique:
        setattr(row, *unique[model])
    model.objects.bulk_create([row])
    assert ("seal:1", "ROWS_COUNT") in found()


def test_the_content_of_an_imported_file_is_checked_against_its_own_sum(sealed, past_the_guards):
    past_the_guards("UPDATE gear_importedfile SET content = %s", b"item_no\nB-2\n")
    file = ImportedFile.objects.get()
    assert found() == {(f"file:{file.pk}", "FILE_CHANGED")}


# Every column of a seal
@pytest.mark.parametrize("field", [field.name for field in Seal._meta.fields])
@pytest.mark.parametrize("number", [1, 2, 3])
def test_an_edit_of_any_column_of_a_seal_is_found(sealed, past_the_guards, number, field):
    three_seals()
    value = {"number": 9, "row_count": 3, "sealed_at": "2026-02-03 04:05:06+00:00"}.get(field, "0" * 64)
    past_the_guards(f"UPDATE gear_seal SET {field} = %s WHERE number = %s", value, number)
    assert found()


def three_seals():
    for number in (2, 3):
        builders.blanket(f"B-{number}")
        make_seal(timezone.now())
    return list(Seal.objects.order_by("number"))


def test_a_seal_deleted_from_among_others_is_found_and_one_cut_off_the_end_only_by_a_printed_one(
    sealed, past_the_guards
):
    third = three_seals()[2]
    past_the_guards("DELETE FROM gear_seal WHERE number = 3")
    assert found() == set()
    assert found(Anchor(3, third.hash)) == {("anchor:3", "ANCHOR_MISSING")}
    past_the_guards("DELETE FROM gear_seal WHERE number = 1")
    assert ("seal:2", "SEAL_MISSING") in found()


def test_two_seals_that_changed_places_are_found(sealed, past_the_guards):
    three_seals()
    for old, new in ((1, 99), (2, 1), (99, 2)):
        past_the_guards("UPDATE gear_seal SET number = %s WHERE number = %s", new, old)
    assert ("seal:1", "SEAL_CHANGED") in found()


# A chain rewritten as a whole
def rewrite(past_the_guards, item):
    """Somebody who knows the program turns a failed test into an accepted one and covers his tracks in the chain."""
    previous = ""
    for entry in Entry.objects.filter(item=item).order_by("position"):
        if entry.kind == "tested":
            entry.facts = {**entry.facts, "outcome": "accepted"}
        by = entry.by.username if entry.by else ""
        digest = entry_hash(payload(entry, subject=f"item:{item.item_no}", by=by), previous)
        past_the_guards(
            "UPDATE gear_entry SET facts = %s, previous_hash = %s, hash = %s WHERE id = %s",
            json.dumps(entry.facts),
            previous,
            digest,
            entry.id.hex,
        )
        previous = digest
    past_the_guards("UPDATE gear_itemstate SET head_hash = %s WHERE item_id = %s", previous, item.pk)
    rebuild()


@pytest.fixture
def failed(db):
    blanket = builders.blanket("B-9")
    builders.tested(blanket, outcome="failed", codes=[{"code": "BREAKDOWN"}])
    return blanket


def test_a_rewritten_chain_is_whole_by_itself_and_says_so_much_for_chains(failed, past_the_guards):
    rewrite(past_the_guards, failed)
    assert found() == set()
    assert answer("B-9", question()).verdict == "good"


def test_a_rewritten_chain_shows_against_any_older_seal_and_is_unknown_from_then_on(failed, past_the_guards):
    make_seal(timezone.now())
    three_seals()
    rewrite(past_the_guards, failed)
    assert found() == {("seal:1", "ROWS_CHANGED")}
    assert answer("B-9", question()).verdict == "unknown"


def test_a_seal_that_a_broken_chain_explains_makes_no_other_item_unknown(failed, past_the_guards):
    """A test deleted by hand breaks its own chain and the seal of that day; the rest of that day still stands."""
    blanket = builders.blanket("B-8")
    (test,) = builders.tested(blanket)
    builders.tested(builders.blanket("B-7"))
    make_seal(timezone.now())
    past_the_guards("DELETE FROM gear_entry WHERE id = %s", test.id.hex)
    assert found() == {("item:B-8", "HEAD_DIFFERS"), ("seal:1", "ROWS_COUNT")}
    assert [answer(number, question()).verdict for number in ("B-7", "B-8")] == ["good", "unknown"]


def test_a_rewritten_chain_with_rewritten_seals_shows_against_a_printed_seal(failed, past_the_guards):
    make_seal(timezone.now())
    printed = three_seals()[2]
    rewrite(past_the_guards, failed)
    moments = list(Seal.objects.order_by("number").values_list("sealed_at", flat=True))
    past_the_guards("DELETE FROM gear_seal")
    for moment in moments:
        make_seal(moment)
    assert found() == set()
    assert found(Anchor(printed.number, printed.hash)) == {("anchor:3", "ANCHOR_DIFFERS")}


def test_an_older_copy_of_the_record_shows_against_a_printed_seal(sealed):
    assert found(Anchor(2, "f" * 64)) == {("anchor:2", "ANCHOR_MISSING")}


def test_a_printed_seal_may_be_given_by_the_beginning_of_its_hash(sealed):
    assert found(Anchor(1, sealed.hash), Anchor(1, sealed.hash[:16].upper())) == set()
    assert found(Anchor(1, sealed.hash[:15])) == {("anchor:1", "ANCHOR_DIFFERS")}


def test_a_mistyped_anchor_marks_nothing(sealed):
    assert found(Anchor(1, "0" * 64)) == {("anchor:1", "ANCHOR_DIFFERS")}
    assert answer("B-1", question()).verdict == "good"


def test_the_problem_of_a_seal_says_which_and_what_to_do(sealed, past_the_guards):
    past_the_guards("DELETE FROM gear_refusal")
    (problem,) = verify.verify()
    assert "Seal 1 of " in problem.sentence
    assert f"{SEALED} rows were sealed, {SEALED - 1} are there" in problem.sentence
    assert "backup" in problem.sentence


# The commands
def told(capsys, *command):
    call_command(*command)
    return capsys.readouterr().out


def test_the_daily_command_seals_once_a_day(failed, capsys):
    assert told(capsys, "seal_ledger").startswith("Sealed. Seal 1:")
    builders.blanket()
    assert told(capsys, "seal_ledger").startswith("Sealed already today. Seal 1:")
    assert told(capsys, "seal_ledger", "--now").startswith("Sealed. Seal 2:")
    assert told(capsys, "seal_ledger", "--now").startswith(
        "Nothing was recorded since the last seal. Seal 2:"
    )
    with time_machine.travel(timezone.now() + timedelta(days=1)):
        builders.blanket()
        assert told(capsys, "seal_ledger").startswith("Sealed. Seal 3:")


def test_the_daily_command_on_an_empty_record_says_so(db, capsys):
    assert told(capsys, "seal_ledger") == "Nothing was recorded yet.\n"


def test_the_daily_command_refuses_a_clock_that_is_behind(sealed):
    with (
        time_machine.travel(sealed.sealed_at - timedelta(minutes=6)),
        pytest.raises(CommandError, match="behind the last seal"),
    ):
        call_command("seal_ledger", "--now")


def test_a_seal_is_given_to_verify_ledger_as_it_was_printed(sealed, capsys):
    assert "No printed seal was compared" in told(capsys, "verify_ledger")
    printed = f"1:{sealed.hash}"
    out = told(capsys, "verify_ledger", "--anchor", printed, "--anchor", printed[:18])
    assert f"Last seal: {printed}" in out
    assert "No printed seal" not in out
    with pytest.raises(CommandError, match="1 problem"):
        call_command("verify_ledger", "--anchor", f"1:{'0' * 64}")


@pytest.mark.parametrize(
    "text", ["", "1", "x:" + "0" * 64, "1:" + "0" * 15, "1:" + "g" * 64, "1:" + "0" * 65]
)
def test_what_is_no_printed_seal_is_refused_with_how_it_looks(db, text):
    with pytest.raises(CommandError, match="NUMBER:HASH, with at least 16 symbols"):
        call_command("verify_ledger", "--anchor", text)


def test_windows_meet_without_gap_or_overlap(sealed):
    """A row of the very moment of a seal is in it, and in no other."""
    moments = [
        moment
        for model, dated in seals.dated_by().items()
        for moment in model.objects.values_list(dated, flat=True)
    ]
    between = sorted(moments)[3]
    earlier, later = seals.leaves_between(None, between), seals.leaves_between(between, sealed.sealed_at)
    assert earlier
    assert later
    assert sorted(earlier + later) == sorted(seals.leaves_between(None, sealed.sealed_at))
