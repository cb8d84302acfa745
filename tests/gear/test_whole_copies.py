"""What replaces or moves the whole record does all of it or nothing, and says which answers changed."""

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from gear.backups import archive, moving, restoring, scratch, stated, upgrading
from gear.backups.archive import BackupRefused
from gear.models import Entry
from gear.queries import restored
from tests import builders
from tests.gear.backed_up import book, empty_file, newest_seal, places, verdict  # noqa: F401 - fixtures

pytestmark = pytest.mark.django_db(transaction=True)


def breaks(*_arguments, **_more):
    raise BackupRefused("The disk is gone.")


# Restore: each step on the way, broken
STEPS = {
    "reading the file": (archive, "_checked"),
    "unpacking": (archive.Archive, "extract"),
    "comparing": (stated, "rows"),
    "verifying": (restoring, "verify"),
    "answers": (stated, "answers"),
    "saying so": (restoring, "_say_so"),
    "photos": (restoring, "put_media"),
    "the last renaming": (restoring, "put_in_place"),
}


def test_whatever_fails_on_the_way_the_record_stands(book, tmp_path):
    night = tmp_path / "night.backup"
    call_command("backup", night)
    builders.happened(book, "held", reason="cut at the cuff")
    before = stated.stated()
    for step, (place, name) in STEPS.items():
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(place, name, breaks)
            with pytest.raises(CommandError, match="disk is gone"):
                call_command("restore", night, "--replace")
        assert stated.stated() == before, step
        assert verdict() == ("stop", ["HELD"]), step
    assert restored.waiting() is None
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".scratch")] == []


def test_a_renaming_that_fails_leaves_one_record_and_no_second_name(book, tmp_path, monkeypatch):
    if connection.vendor != "sqlite":
        return
    call_command("backup", tmp_path / "night.backup")

    def full(*_arguments):
        raise OSError("No space left on device")

    monkeypatch.setattr(restoring.os, "replace", full)
    with pytest.raises(OSError, match="No space"):
        call_command("restore", tmp_path / "night.backup", "--replace")
    assert verdict() == ("good", [])


# Upgrade


def test_an_upgrade_without_new_tables_proves_the_record_and_leaves_it_where_it_is(book, tmp_path, capsys):
    call_command("backup", tmp_path / "night.backup")
    builders.happened(book, "held", reason="cut at the cuff")
    before = stated.stated()
    call_command("upgrade")
    told = capsys.readouterr().out
    assert "No table changed" in told
    assert "Every answer is the same" in told  # as known when the backup was made
    assert stated.stated() == before


@pytest.fixture
def older(book, monkeypatch):
    """The tables look as if one migration of this version were open."""
    last = stated.applied()[-1]
    monkeypatch.setattr(stated, "open_to_us", lambda applied: [last])
    return last


def test_a_migration_is_tried_on_a_copy_which_then_takes_the_place(book, tmp_path, capsys, older):
    call_command("backup", tmp_path / "night.backup")
    call_command("upgrade")
    assert "Upgraded. The record of before is kept as" in capsys.readouterr().out
    assert verdict() == ("good", [])  # nothing of it is in doubt, for nothing is missing
    assert restored.waiting() is None


def test_a_migration_that_breaks_half_way_leaves_everything_as_it_was(book, monkeypatch, older):
    before = stated.stated()

    def half_way(name, **_options):
        if name == "migrate":
            builders.happened(book, "noted", note="half a migration")
            raise RuntimeError("column is there already")

    monkeypatch.setattr(restoring, "call_command", half_way)
    with pytest.raises(CommandError, match=r"column is there already.*stands as it was"):
        call_command("upgrade")
    assert stated.stated() == before


def test_what_another_server_recorded_meanwhile_is_not_left_behind(book, monkeypatch, older):
    make = upgrading.making.make

    def made_while_another_writes(*arguments, **more):
        found = make(*arguments, **more)
        builders.happened(book, "held", reason="cut at the cuff")
        return found

    monkeypatch.setattr(upgrading.making, "make", made_while_another_writes)
    with pytest.raises(CommandError, match="on every server"):
        call_command("upgrade")
    assert verdict() == ("stop", ["HELD"])


def test_every_item_whose_answer_is_another_is_named(book, tmp_path, capsys, monkeypatch):
    call_command("backup", tmp_path / "night.backup")
    honest = stated.answers

    def stricter(at):
        return ({**one, "verdict": "stop"} if one["item"] == "B-1" else one for one in honest(at))

    monkeypatch.setattr(stated, "answers", stricter)
    call_command("upgrade")
    assert "1 answers are others than before:" in (told := capsys.readouterr().out)
    assert "B-1: good" in told
    assert "-> stop" in told


def test_tables_of_a_newer_version_are_refused(book, monkeypatch):
    monkeypatch.setattr(stated, "applied", lambda: [("gear", "0999_later")])
    with pytest.raises(CommandError, match=r"newer version than this program \(gear\.0999_later\)"):
        call_command("upgrade")


# Move


def test_every_row_and_answer_arrives_in_the_other_database_and_comes_back(book, cast):
    """From what the suite runs on to SQLite, and from there back to what it runs on."""
    here, seal = stated.stated(), newest_seal()
    with empty_file() as target, moved_back_to() as home:
        rows = moving.move(target)
        assert stated.stated() == here  # only read
        with scratch.looking_at(target):
            assert (verdict(), newest_seal()) == (("good", []), seal)
            assert rows["gear_entry"] == Entry.objects.count() == here["entries"]
            moving.move(home)
        with scratch.looking_at(home):
            found = stated.stated()
            assert {**found["rows"], "django_migrations": 0} == {**here["rows"], "django_migrations": 0}
            assert [found[name] for name in ("head", "seal", "newest_at")] == [
                here[name] for name in ("head", "seal", "newest_at")
            ]
            builders.happened(type(book).objects.get(item_no="B-1"), "held", reason="cut")  # keys go on
            assert verdict() == ("stop", ["HELD"])
            with pytest.raises(BackupRefused, match="has a record already"):
                moving.move(target)


def moved_back_to():
    return (
        empty_file() if connection.vendor == "sqlite" else scratch.filled_postgresql(scratch.current(), None)
    )


@pytest.mark.one_database
def test_what_arrives_otherwise_is_refused(book, monkeypatch):
    monkeypatch.setattr(moving, "_models", lambda: moved_all_but("gear_seal"))
    with empty_file() as target, pytest.raises(BackupRefused, match="differs in seal"):
        moving.move(target)


HONEST = moving._models


def moved_all_but(table):
    return [model for model in HONEST() if model._meta.db_table != table]


@pytest.mark.parametrize("target", ["mysql://x/y", "sqlite://", "postgres://"])
def test_a_target_that_is_none_is_refused_in_a_sentence(target):
    with pytest.raises(CommandError, match="The target"):
        call_command("move_database", target)
