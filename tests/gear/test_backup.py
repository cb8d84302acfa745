"""A backup holds what was acknowledged before it began, restores, and is proven before it is believed."""

import os
import threading
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.db import connections
from django.utils import timezone

from gear.backups import archive, making, restoring, scratch, stated
from gear.ledger import Draft, make_seal, record
from gear.queries import backups, restored
from tests import builders
from tests.gear.backed_up import book, empty_place, newest_seal, places, verdict  # noqa: F401 - fixtures

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = int(os.environ.get("BACKUPS", "5"))  # of the write storm
WRITERS = 3


@pytest.fixture
def night(book, tmp_path):
    call_command("backup", tmp_path / "night.backup")
    return tmp_path / "night.backup"


def test_taken_while_people_write_it_restores_and_lacks_nothing_acknowledged_before(book, tmp_path):
    acknowledged, stop, failed = [], threading.Event(), []

    def write(number):
        try:
            while not stop.is_set():
                note = {"note": f"by writer {number}"}
                acknowledged.append(record(Draft(book, "noted", note, id=uuid4()), by=None, via="api").pk)
        except Exception as error:
            failed.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=write, args=(number,)) for number in range(WRITERS)]
    for thread in threads:
        thread.start()
    try:
        for number in range(ROUNDS):
            before = set(acknowledged)
            made, missing = making.make(tmp_path / f"{number}.backup")
            examined = restoring.verified(tmp_path / f"{number}.backup")
            assert missing == []
            assert examined.manifest["entries"] == made.entries >= len(before)
            assert examined.changed == []
    finally:
        stop.set()
        for thread in threads:
            thread.join(60)
    assert failed == []
    assert backups.newest_verified().file == str(tmp_path / f"{ROUNDS - 1}.backup")


def test_the_nightly_ones_go_after_a_month_and_the_newest_proven_one_never(book, tmp_path):
    call_command("backup", verify=True)
    proven = Path(backups.newest_verified().file)
    other, named = proven.with_name("gear-20260101T000000.backup"), proven.with_name("before-the-move.backup")
    for path in (other, named):
        path.write_bytes(b"x")
    for path in (proven, other, named):
        os.utime(path, (0, 0))
    assert making.remove_older(30) == [other]
    assert (proven.exists(), named.exists()) == (True, True)


def test_no_secret_and_no_sign_in_under_way_is_in_it(night, client, cast, settings, tmp_path):
    client.force_login(cast.dev)
    call_command("backup", tmp_path / "day.backup")
    key = client.session.session_key.encode()
    with archive.opened(tmp_path / "day.backup") as archived:
        for name in archived.members:
            archived.extract(name, tmp_path / "out")
            content = (tmp_path / "out").read_bytes()
            assert settings.SECRET_KEY.encode() not in content
            assert key not in content
        assert "SECRET_KEY" in archived.manifest["without"]


def test_what_is_restored_is_the_record_of_the_backup_and_the_one_before_is_kept(night, book, capsys):
    was = stated.stated()
    builders.happened(book, "held", reason="cut at the cuff")
    with pytest.raises(CommandError, match="record here already"):
        call_command("restore", night)
    assert verdict() == ("stop", ["HELD"])
    call_command("restore", night, "--replace")
    told = capsys.readouterr().out
    found = stated.stated()
    assert found["entries"] == was["entries"] + 1  # the one that says so
    changed = {name for name in was["rows"] if was["rows"][name] != found["rows"][name]}
    assert changed <= {"gear_entry", "gear_sitehead"}
    assert [was["seal"], "EVERY ANSWER IS UNKNOWN"] == [
        one for one in (was["seal"], "EVERY ANSWER IS UNKNOWN") if one in told
    ]
    kept = told.partition("is kept as ")[2].split()[0].rstrip(".")
    with scratch.looking_at({"NAME": kept}):
        assert verdict() == ("stop", ["HELD"])
    assert verdict() == ("unknown", ["RESTORED"])


def test_an_empty_place_needs_no_leave_and_a_wrong_seal_puts_nothing_there(night):
    with empty_place() as database:
        with scratch.looking_at(database):
            with pytest.raises(CommandError, match="not the one given"):
                call_command("restore", night, "--seal", "1:" + "a" * 64)
            assert restoring.is_empty()
        with scratch.looking_at(database):
            call_command("restore", night)
            assert verdict() == ("unknown", ["RESTORED"])


def test_a_seal_that_is_the_newest_outside_too_ends_the_doubt_at_once(night):
    call_command("restore", night, "--replace", "--seal", newest_seal())
    assert verdict() == ("good", [])
    assert restored.waiting() is None


def test_a_copy_of_a_record_that_waits_for_an_answer_waits_for_the_same_seal(night, tmp_path):
    """Nothing that was made since, seals among it, says what was lost before."""
    first, again = newest_seal(), tmp_path / "again.backup"
    call_command("restore", night, "--replace")
    make_seal(timezone.now())
    call_command("backup", again)
    assert newest_seal() != first
    with pytest.raises(CommandError, match="a restore that nobody answered for"):
        call_command("restore", again, "--replace", "--seal", newest_seal())
    call_command("restore", again, "--replace")
    assert restored.waiting().seal == first


def test_a_record_that_was_tampered_with_is_found_before_it_is_believed(book, tmp_path, past_the_guards):
    past_the_guards("UPDATE gear_entry SET device = 'another' WHERE kind = 'tested'")
    call_command("backup", tmp_path / "bad.backup")
    with pytest.raises(CommandError, match="not what was recorded"):
        call_command("backup", tmp_path / "bad.backup", "--verify-only")
    with pytest.raises(CommandError, match="not what was recorded"):
        call_command("restore", tmp_path / "bad.backup", "--replace")
    assert backups.newest_verified() is None
    assert restored.waiting() is None


def test_a_hash_made_anew_over_another_count_does_not_help(night, tmp_path):
    with archive.opened(night) as archived:
        members = []
        for number, name in enumerate(archived.members):
            archived.extract(name, tmp_path / str(number))
            members.append((name, tmp_path / str(number)))
        manifest = {**archived.manifest, "rows": {**archived.manifest["rows"], "gear_entry": 1}}
    archive.write(tmp_path / "forged.backup", members, manifest)
    with pytest.raises(CommandError, match="gear_entry"):
        call_command("restore", tmp_path / "forged.backup", "--replace")
