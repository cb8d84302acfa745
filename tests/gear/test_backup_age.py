"""A backup that nobody could restore is none: the page on health is red a day and two hours after the last good one."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from gear.queries import backups
from gear.queries.backups import MADE, VERIFIED
from tests import builders

NOW = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path
    return tmp_path


def noted(what, at, file="night.zip"):
    line = {"what": what, "file": file, "made_at": at.isoformat(), "sha256": "0" * 64, "bytes": 1}
    with backups.log_file().open("a") as log:
        log.write(json.dumps({**line, "entries": 3, "seal": ""}) + "\n")


def found():
    return [(one.code, one.level) for one in backups.check(NOW)]


def test_none_yet_is_worth_knowing_and_red_once_the_record_is_older_than_a_day():
    assert found() == [("BACKUP_NONE", "amber")]
    builders.blanket("B-1")  # recorded now, by the clock of this machine
    entry_at = backups.Entry.objects.get().recorded_at
    assert [one.level for one in backups.check(entry_at + timedelta(hours=27))] == ["red"]


def test_a_demo_without_a_backup_calls_nobody(settings):
    settings.DEMO = True
    builders.blanket("B-1")
    entry_at = backups.Entry.objects.get().recorded_at
    assert [one.level for one in backups.check(entry_at + timedelta(hours=27))] == ["amber"]


@pytest.mark.parametrize(
    ("hours", "code"), [(1, "BACKUP_VERIFIED"), (26, "BACKUP_VERIFIED"), (26.1, "BACKUP_OLD")]
)
def test_what_counts_is_the_age_of_the_newest_one_that_was_verified(hours, code):
    noted(MADE, NOW)  # made and never tried
    noted(VERIFIED, NOW - timedelta(hours=hours))
    noted(VERIFIED, NOW - timedelta(days=9), "older.zip")
    assert [one for one, _level in found()] == [code]
    assert backups.newest_backup().made_at == NOW


def test_a_line_that_cannot_be_read_hides_no_other():
    noted(VERIFIED, NOW)
    with backups.log_file().open("a") as log:
        log.write('{"what": "verified", "file"\n')
    assert found() == [("BACKUP_VERIFIED", "well")]
