"""The nightly work: each step for itself, what came of it kept and told, and a damaged file that answers nothing."""

import os
import sqlite3
from datetime import timedelta
from io import StringIO
from unittest.mock import Mock
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connections
from django.test import Client
from django.utils import timezone

from gear.ledger import integrity
from gear.ledger.verify import verify
from gear.management.commands import nightly
from gear.models import NightlyResult, SiteHead
from gear.queries import answer, installation, question
from gear.queries.health import AMBER, RED, WELL
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def without_backup(monkeypatch):
    """A backup commits and restores; that it is asked for is tried below, what it does elsewhere."""
    work = {step: what for step, what in nightly.WORK.items() if step != "backup"}
    monkeypatch.setattr(nightly, "WORK", work)


def night(*options):
    out = StringIO()
    call_command("nightly", *options, stdout=out, stderr=out)
    return out.getvalue()


def found(now=None):
    return [(one.code, one.level) for one in installation.check_nightly(now or timezone.now())]


def test_a_sound_night_is_kept_step_by_step_and_shown(cast, without_backup):
    builders.glove("G-00001")
    told = night()
    assert "FAILED" not in told
    rows = list(NightlyResult.objects.order_by("pk"))
    assert [(row.step, row.ok) for row in rows] == [(step, True) for step in nightly.WORK]
    assert len({row.run for row in rows}) == 1
    assert rows[0].sentence.startswith("Sealed. Seal 1:")
    assert found() == [("NIGHTLY", WELL)]
    client = Client()
    client.force_login(cast.halvard)
    page = client.get("/health/").content.decode()
    assert "What ran last night" in page
    assert "Sealed. Seal 1:" in page


def test_a_step_that_fails_stops_no_other_and_is_red_until_a_night_mends_it(without_backup, monkeypatch):
    def breaks(*_arguments, **_keywords):
        raise RuntimeError("no such luck")

    with monkeypatch.context() as patch:
        patch.setattr("gear.management.commands.rebuild_states.differing", breaks)
        with pytest.raises(CommandError, match="Failed: Lists against entries"):
            night()
    assert NightlyResult.objects.filter(ok=False).get().sentence == "RuntimeError: no such luck"
    assert NightlyResult.objects.count() == len(nightly.WORK)
    assert found() == [("NIGHTLY_STATES", RED)]
    night()
    assert found() == [("NIGHTLY", WELL)]


def test_what_somebody_changed_by_hand_is_found_and_told(without_backup, past_the_guards):
    glove = builders.glove("G-00001")
    past_the_guards("UPDATE gear_entry SET via = 'api' WHERE item_id = %s", glove.pk)
    with pytest.raises(CommandError, match="Record, photos and seals"):
        night()
    assert "ENTRY_CHANGED" in NightlyResult.objects.get(step="ledger").sentence


def test_a_night_that_did_not_run_is_red_after_a_day_and_two_hours(without_backup):
    assert found() == [("NIGHTLY_NEVER", AMBER)]
    builders.glove("G-00001")
    now = timezone.now()
    assert found(now + timedelta(hours=27)) == [("NIGHTLY_NEVER", RED)]
    night()
    assert found(now + timedelta(hours=25)) == [("NIGHTLY", WELL)]
    assert found(now + timedelta(hours=27)) == [("NIGHTLY_LATE", RED)]
    night("--skip", "states")
    NightlyResult(run=NightlyResult.objects.first().run, at=now, step="backup", ok=True, sentence="x").save()
    (late,) = installation.check_nightly(timezone.now() + timedelta(hours=27))
    assert "Lists against entries" in late.sentence


def test_a_step_that_ran_once_is_late_for_ever_and_is_never_forgotten(cast):
    """As where every night ends in the second step, for want of memory: the others leave no row at all."""
    for day in range(40, 0, -1):
        at = timezone.now() - timedelta(days=day - 1)
        for step in nightly.WORK if day == 40 else ("seal",):
            NightlyResult(run=uuid4(), at=at, step=step, ok=True, sentence="Done.").save()
    assert found() == [("NIGHTLY_LATE", RED)]
    assert list(installation.newest_results()) == list(nightly.WORK)


def test_a_result_that_cannot_be_kept_is_a_failure(without_backup, monkeypatch):
    def full(_row):
        raise DatabaseError("database or disk is full")

    monkeypatch.setattr(NightlyResult, "save", full)
    with pytest.raises(CommandError, match="Failed"):
        night()


def test_every_step_is_a_command_that_exists_or_comes_with_another_release():
    call = {command for command, _options in nightly.WORK.values()}
    assert call - {"seal_ledger", "verify_ledger", "rebuild_states", "orphan_photos"} <= {"backup"}


# A damaged file


def flipped(path):
    """A database file of a few hundred rows with one page overwritten."""
    with sqlite3.connect(path) as made:
        made.execute("CREATE TABLE book (id INTEGER PRIMARY KEY, told TEXT)")
        made.executemany("INSERT INTO book (told) VALUES (?)", [(f"row {n}" * 20,) for n in range(400)])
    with path.open("r+b") as file:
        file.seek(4096 * 3)
        file.write(os.urandom(4096))
    return path


@pytest.mark.one_database
def test_sqlite_itself_finds_a_page_that_was_overwritten(tmp_path, monkeypatch):
    damaged = connections.create_connection("default")
    damaged.settings_dict = {**damaged.settings_dict, "NAME": str(flipped(tmp_path / "book.sqlite3"))}
    monkeypatch.setattr(integrity, "connection", damaged)
    try:
        assert {problem.code for problem in integrity.file_problems()} == {"DATABASE_DAMAGED"}
    finally:
        damaged.close()


def test_from_a_damaged_file_nothing_is_good_and_the_service_is_not_ready(cast, monkeypatch):
    blanket = builders.blanket("B-1")
    builders.tested(blanket)
    as_of = question()
    assert answer("B-1", as_of).verdict == "good"
    problem = integrity.Problem("site", "DATABASE_DAMAGED", "page 7 is not whole")
    with monkeypatch.context() as patch:
        patch.setattr(integrity, "file_problems", lambda: [problem])
        assert verify() == [problem]
        with pytest.raises(CommandError, match="not whole"):
            call_command("verify_ledger", "--database", stdout=StringIO())
        patch.setattr(integrity, "answer_nothing", Mock(side_effect=DatabaseError("not a database")))
        told = StringIO()
        with pytest.raises(CommandError, match="not whole"):
            call_command("verify_ledger", "--database", stdout=StringIO(), stderr=told)
        assert "stop the service now" in told.getvalue()
    assert not SiteHead.objects.get().chain_ok
    assert answer("B-1", question()).verdict == "unknown"
    assert [one.code for one in installation.check_rules(timezone.now())] == ["RULES_REFUSED"]
    assert verify() == []  # the file was put back whole: the full look clears what it marked
    assert answer("B-1", question()).verdict == "good"
