"""The file that a backup is: whole or refused, never written over, and readable by its owner alone."""

import os
import random
import stat

import pytest

from gear.backups import archive, occupancy, scratch, stated
from gear.backups.archive import BackupRefused
from gear.backups.occupancy import InUse

CONTENT = {"record.sqlite3": random.Random(3).randbytes(6000), "media/photos/a.jpg": b"\xff\xd8 jpeg " * 40}


@pytest.fixture
def backup(tmp_path):
    members = []
    for number, (name, content) in enumerate(CONTENT.items()):
        source = tmp_path / f"{number}{os.path.splitext(name)[1]}"
        source.write_bytes(content)
        members.append((name, source))
    target = tmp_path / "night.backup"
    archive.write(target, members, {"version": "0.1.0", "migrations": []})
    return target


def test_what_was_put_in_comes_out(backup, tmp_path):
    with archive.opened(backup) as archived:
        for name, content in CONTENT.items():
            archived.extract(name, tmp_path / "out")
            assert (tmp_path / "out").read_bytes() == content


def test_only_its_owner_may_read_it_and_no_draft_is_left(backup, tmp_path):
    assert stat.S_IMODE(backup.stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir() if path.name.endswith(".part")] == []


def test_one_flipped_bit_anywhere_is_refused(backup):
    """Every byte of the archive's own headers and its tail, and a sample of the rest."""
    whole = backup.read_bytes()
    chance = random.Random(5)
    places = {*range(120), *range(len(whole) - 600, len(whole)), *chance.sample(range(len(whole)), 300)}
    for place in places:
        damaged = bytearray(whole)
        damaged[place] ^= 1 << chance.randrange(8)
        backup.write_bytes(damaged)
        with pytest.raises(BackupRefused), archive.opened(backup):
            pass


def test_a_tail_that_was_cut_off_is_refused(backup):
    whole = backup.read_bytes()
    for length in {0, 1, 63, 64, 65, len(whole) // 2, len(whole) - 64, len(whole) - 1}:
        backup.write_bytes(whole[:length])
        with pytest.raises(BackupRefused), archive.opened(backup):
            pass


def test_a_name_that_is_taken_is_never_written_over(backup):
    before = backup.read_bytes()
    with pytest.raises(BackupRefused, match="there already"):
        archive.write(backup, [], {})
    assert backup.read_bytes() == before


def test_what_a_newer_version_made_is_refused_and_names_it(tmp_path, monkeypatch):
    manifest = {"version": "9.2", "migrations": [["gear", "0001_initial"], ["gear", "0999_later"]]}
    with pytest.raises(BackupRefused, match=r"9\.2, with gear\.0999_later"):
        stated.check_version(manifest)
    monkeypatch.setattr(archive, "FORMAT", 2)
    archive.write(tmp_path / "later.backup", [], {"version": "9.2"})
    monkeypatch.setattr(archive, "FORMAT", 1)
    with pytest.raises(BackupRefused, match="newer version"), archive.opened(tmp_path / "later.backup"):
        pass


def test_nobody_replaces_a_record_that_is_in_use(tmp_path, monkeypatch):
    occupancy.join(tmp_path)
    here = occupancy._held.pop(tmp_path.resolve())  # as another process would hold it
    with pytest.raises(InUse, match="Stop the service"), occupancy.alone(tmp_path):
        pass
    os.close(here)
    with occupancy.alone(tmp_path), pytest.raises(InUse, match="just now"):
        occupancy.join(tmp_path)


def test_a_lock_that_another_account_made_says_whose_commands_to_run(tmp_path, monkeypatch):
    def forbidden(*_arguments):
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(occupancy.os, "open", forbidden)
        with pytest.raises(InUse, match="account of the service"):
            occupancy.join(tmp_path)


def test_a_file_that_is_no_database_any_more_is_told_and_leaves_no_backup(tmp_path):
    (tmp_path / "gear.sqlite3").write_bytes(b"\x17" * 8192)
    with pytest.raises(BackupRefused, match="cannot be copied"):
        scratch.dump_sqlite(str(tmp_path / "gear.sqlite3"), tmp_path / "copy")
