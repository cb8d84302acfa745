"""A timer that stopped is told, though a run of notices that finds nothing leaves no row."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.core.management import CommandError, call_command

from gear.queries.health import AMBER, RED, WELL
from reports.queries.notice_runs import FILE, check_notices, last_run, note_run
from reports.rules.overdue import DoesNotReconcile

NOW = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path
    return tmp_path


def told(now=NOW):
    return [(one.code, one.level, one.at) for one in check_notices(now)]


@pytest.mark.parametrize(
    ("ago", "expected"),
    [
        (timedelta(0), ("NOTICES", WELL)),
        (timedelta(hours=1), ("NOTICES", WELL)),
        (timedelta(hours=1, seconds=1), ("NOTICES_LATE", RED)),
        (timedelta(days=9), ("NOTICES_LATE", RED)),
    ],
)
def test_an_hour_without_a_run_is_red(ago, expected):
    note_run(NOW - ago)
    assert told() == [(*expected, NOW - ago)]


def test_a_demo_has_no_timers(settings):
    settings.DEMO = True
    note_run(NOW - timedelta(days=1))
    assert told()[0][:2] == ("NOTICES_LATE", AMBER)


def test_that_it_never_ran_is_worth_knowing():
    assert told() == [("NOTICES_NEVER", AMBER, None)]


@pytest.mark.parametrize("text", ["", "yesterday", "2026-09-14T09:40:00", "\xff"])
def test_a_file_that_cannot_be_read_is_as_none(text, folder):
    (folder / FILE).write_text(text, encoding="latin-1")
    assert last_run() is None


@pytest.mark.django_db
def test_the_command_notes_that_it_ran_and_a_dry_run_does_not():
    with time_machine.travel(NOW, tick=False):
        call_command("send_notices", "--dry-run")
        assert last_run() is None
        call_command("send_notices")
        assert last_run() == NOW


@pytest.mark.django_db
def test_a_run_that_could_make_none_does_not_count(monkeypatch):
    def broken(*_arguments, **_choices):
        raise DoesNotReconcile("1 item is missing")

    monkeypatch.setattr("reports.management.commands.send_notices.run", broken)
    with pytest.raises(CommandError, match="No notice was made"):
        call_command("send_notices")
    assert last_run() is None
