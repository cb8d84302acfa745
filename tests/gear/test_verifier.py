"""The verifier first proves that it can fail; what is wrong with it is told before anything else. And its command."""

import json

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from gear import guards
from gear.ledger import Draft, chain, make_seal, reading, record, seals, tampering, verify
from gear.models import Entry, Label
from tests import builders

pytestmark = [pytest.mark.django_db, pytest.mark.proves_itself]


@pytest.fixture
def book(db):
    """A blanket with a label and a hold, and an entry of the site."""
    blanket = builders.blanket("B-1", label="ABCDEFGHJKM")
    builders.happened(blanket, "held", reason="odd smell")
    record(Draft(None, "person_changed", {"person": "orla", "change": "role"}), by=None, via="web")
    return blanket


def test_the_verifier_finds_every_tampering_with_its_own_sample_and_no_fault_with_the_sample():
    tampering.prove_that_it_shows()
    assert len(list(tampering.tampered_chains())) > 90
    assert len(list(tampering.tampered_seals())) > 60


def blind_to(name):
    """A break of this sort goes unseen."""
    honest = chain.first_break

    def blind(*given, **named):
        found = honest(*given, **named)
        return None if found and found.code == name else found

    return blind


@pytest.mark.parametrize("code", ["ENTRY_MISSING", "ENTRY_MISPLACED", "ENTRY_CHANGED", "HEAD_DIFFERS"])
def test_a_verifier_that_does_not_see_a_break_says_so_and_verifies_nothing(book, monkeypatch, code):
    monkeypatch.setattr(reading, "first_break", blind_to(code))
    with pytest.raises(tampering.VerifierBroken, match="failed on its own sample"):
        verify.verify()


@pytest.mark.parametrize(
    ("module", "name", "broken"),
    [
        (seals, "check_seals", lambda _seals, _leaves: []),
        (seals, "check_anchors", lambda _anchors, _made: []),
        (seals, "seal_hash", lambda _seal: "0" * 64),
        (seals, "merkle_root", lambda _leaves: "0" * 64),
        (reading, "first_break", lambda *_given, **_named: "always"),
        (seals, "check_seals", lambda _seals, _leaves: ["always"]),
    ],
)
def test_a_verifier_that_sees_nothing_or_always_something_says_so(book, monkeypatch, module, name, broken):
    monkeypatch.setattr(module, name, broken)
    with pytest.raises(tampering.VerifierBroken):
        verify.verify()
    with pytest.raises(CommandError, match="Nothing was verified") as failure:
        call_command("verify_ledger")
    assert failure.value.returncode == 2


# Triggers
def test_triggers_taken_away_altered_or_switched_off_are_found(book):
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute("ALTER TABLE gear_entry DISABLE TRIGGER gear_entry_no_update")
            cursor.execute("DROP TRIGGER gear_entry_no_delete ON gear_entry")
        else:
            cursor.execute("DROP TRIGGER gear_entry_no_update")
            cursor.execute(
                "CREATE TRIGGER gear_entry_no_update BEFORE UPDATE ON gear_entry BEGIN SELECT 1; END"
            )
            cursor.execute("DROP TRIGGER gear_entry_no_delete")
    assert found() == {
        ("trigger:gear_entry_no_update", "TRIGGER_MISSING"),
        ("trigger:gear_entry_no_delete", "TRIGGER_MISSING"),
    }
    guards.install(connection)
    assert verify.verify() == []


def test_a_trigger_function_that_does_nothing_is_found(book):
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(
                "CREATE OR REPLACE FUNCTION evidence_append_only() RETURNS trigger LANGUAGE plpgsql AS"
                " $$ BEGIN RETURN NEW; END $$"
            )
    else:
        guards.remove(connection)
    assert len(found()) == 3 * len(guards.tables())


# The command
def test_the_command_says_all_is_well(book, capsys):
    call_command("verify_ledger")
    assert f"All is well: {Entry.objects.count()} entries of 1 items" in capsys.readouterr().out


def test_the_command_fails_and_tells_every_problem(book, past_the_guards, capsys):
    past_the_guards("UPDATE gear_entry SET device = 'x' WHERE kind IN ('held', 'person_changed')")
    make_seal(timezone.now())
    with pytest.raises(CommandError, match="2 problems"):
        call_command("verify_ledger", "--format", "json")
    told = json.loads(capsys.readouterr().out)
    assert told["ok"] is False
    assert [(one["subject"], one["code"]) for one in told["problems"]] == [
        ("item:B-1", "ENTRY_CHANGED"),
        ("site", "ENTRY_CHANGED"),
    ]
    assert told["last_seal"].startswith("1:")


def test_labels_are_unique_over_all_history(book):
    with pytest.raises(DatabaseError), transaction.atomic():
        builders.happened(book, "labelled", code="ABCDEFGHJKM")
    assert Label.objects.count() == 1


def found():
    return {(problem.subject, problem.code) for problem in verify.verify()}
