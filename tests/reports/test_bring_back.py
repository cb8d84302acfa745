"""An export brought into an empty installation is the same record: answers, histories, proofs. Else nothing is kept."""

import json

import pytest
import time_machine
from django.apps import apps
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone

from gear import guards, queries
from gear.ledger import Draft, make_seal, verify
from gear.ledger import record as ledger_record
from gear.ledger.rows import APPS, reason_left_out
from gear.models import Entry, Item, ItemState, Seal, User
from gear.queries import restored
from inspections.models import BenchRow, Device
from reports.actions import bringing_back, exporting
from reports.actions.bringing_back import CannotBring, bring_back
from reports.rules.verify_export import ENTRIES, HEADS, MANIFEST, packed
from tests import builders
from tests.reports.harbour import MORNING
from tests.reports.recorded import PICTURE, emptied, everything, lines_of, rows_in, unpacked

pytestmark = pytest.mark.django_db
# What is not what it was, on purpose: nobody can sign in, and the site's record tells of the import.
CLOSED = {"tables/gear.user.jsonl", "tables/inspections.device.jsonl"}
TOLD = {ENTRIES, HEADS, "tables/gear.sitehead.jsonl"}


@pytest.fixture
def here(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT, settings.DATA_DIR = tmp_path / "media", tmp_path
    monkeypatch.setattr(exporting, "weekly_pdf", lambda week: b"%PDF-1.7 set elsewhere")
    with time_machine.travel(MORNING, tick=True):
        yield tmp_path


def exported(path):
    with path.open("wb") as target:
        exporting.export(target)
    return path


def answers():
    """Every answer of the book and how it came about, as it is told, but for the moment of asking."""
    asked = queries.question()
    return {
        item.item_no: repr(queries.seen(item.item_no, asked).answer) for item in Item.objects.order_by("pk")
    }


def histories():
    """Every entry but what tells of the import itself."""
    own = Entry.objects.exclude(kind__in=(restored.RESTORED, restored.ACCEPTED))
    return list(own.order_by("item_id", "gear_set_id", "position").values())


def states():
    return list(ItemState.objects.order_by("pk").values())


def record_seal(path):
    """The newest seal of an export, as it would stand on a printed report."""
    number, _colon, digest = json.loads(unpacked(path)[MANIFEST])["seal"].partition(":")
    return int(number), digest


def count_of_everything():
    models = [one for one in apps.get_models() if one._meta.app_label in APPS and not reason_left_out(one)]
    return sum(model._base_manager.count() for model in models)


def other(path, files, **manifest):
    """An export with another manifest, its list of files made anew."""
    files = {**files, MANIFEST: json.dumps({**json.loads(files[MANIFEST]), **manifest}).encode()}
    path.write_bytes(packed(files).getvalue())
    return path


# The same record


def test_an_export_brought_into_an_empty_installation_is_the_same_record(here, cast):
    everything(cast)
    path = exported(here / "record.zip")
    before = (answers(), histories(), states())
    assert len(set(before[0].values())) > 5
    emptied()
    default_storage.delete("photos/2026/09/a.jpg")
    assert count_of_everything() == 0
    seal = json.loads(unpacked(path)[MANIFEST])["seal"]

    brought = bring_back(path, printed=[record_seal(path)], now=timezone.now())

    assert (answers(), histories(), states()) == before
    assert verify.verify(files=True) == []
    assert brought.seal == seal
    assert brought.rows["gear.entry"] == len(before[1])
    with default_storage.open("photos/2026/09/a.jpg") as photo:
        assert photo.read() == PICTURE
    assert guards.missing(connection) == []
    first, second = unpacked(path), unpacked(exported(here / "again.zip"))
    tables = {name for name in first if name.endswith(".jsonl") or name.startswith(("content/", "media/"))}
    assert {name for name in tables if first[name] != second[name]} == CLOSED | TOLD
    more = [row for row in second[ENTRIES].splitlines() if row not in set(first[ENTRIES].splitlines())]
    assert [json.loads(row)["kind"] for row in more] == ["restored", "restore_accepted"]
    assert len(second[ENTRIES].splitlines()) == len(first[ENTRIES].splitlines()) + 2


def test_nothing_is_good_until_the_newest_seal_was_compared_or_signed_for(record):
    """As after a restore: what was recorded after the export is not in it."""
    number, digest = record_seal(record)
    brought = bring_back(record, now=timezone.now())
    assert not brought.compared
    answer = queries.seen("B-1", queries.question()).answer
    assert answer.verdict == "unknown"
    assert "RESTORED" in {reason.code for reason in answer.reasons}
    emptied()
    assert bring_back(record, printed=[(number, digest[:16])], now=timezone.now()).compared
    assert "RESTORED" not in {one.code for one in queries.seen("B-1", queries.question()).answer.reasons}


def test_a_restore_that_nobody_answered_for_comes_along(here, cast):
    """A seal made after it says nothing of what it lost."""
    builders.tested(builders.blanket("B-1"), by=cast.dev)
    first = make_seal(timezone.now())
    lost = {"made_at": "2026-09-14T02:00:00+00:00", "seal": f"{first.number}:{first.hash}", "head": "0" * 64}
    ledger_record(Draft(None, restored.RESTORED, lost), by=None, via="system")
    make_seal(timezone.now())
    path = exported(here / "record.zip")
    emptied()
    assert not bring_back(path, printed=[record_seal(path)], now=timezone.now()).compared
    assert restored.waiting().seal == f"{first.number}:{first.hash}"
    emptied()
    assert bring_back(path, printed=[(first.number, first.hash)], now=timezone.now()).compared


def test_the_record_goes_on_where_it_was_and_nobody_can_sign_in_yet(here, cast):
    """New rows get new numbers, chains and seals continue, what is closed stays closed, and no device counts."""
    everything(cast)
    path = exported(here / "record.zip")
    emptied()
    default_storage.delete("photos/2026/09/a.jpg")
    bring_back(path, now=timezone.now())
    orla = User.objects.get(username="orla")
    assert (orla.is_active, orla.has_usable_password(), orla.role) == (False, False, "clerk")
    assert not User.objects.filter(is_active=True).exists()
    assert not User.objects.get(username="pim").is_superuser
    tablet = Device.objects.get()
    assert (tablet.digest, tablet.enrol_digest) == (None, "")
    assert tablet.revoked_at is not None
    blanket = builders.blanket("B-after")
    builders.happened(Item.objects.get(item_no="B-due_in_7"), "noted", note="after the move")
    assert Item.objects.order_by("-pk").first() == blanket
    seal = make_seal(timezone.now())
    assert seal.number == Seal.objects.count() == 3
    assert verify.verify() == []
    with pytest.raises(Exception, match="does not change"):
        BenchRow.objects.filter(test__isnull=False).update(struck=True)


# Refused, and nothing kept


@pytest.fixture
def record(here, cast):
    """An export of a small book, in an installation that is empty."""
    builders.tested(builders.blanket("B-1"), by=cast.dev)
    make_seal(timezone.now())
    path = exported(here / "record.zip")
    emptied()
    return path


def test_an_installation_that_is_not_empty_takes_none(record, here):
    builders.depot("Another")
    with pytest.raises(CannotBring, match=r"not empty: there are rows in gear\.depot"):
        bring_back(record, now=timezone.now())
    assert count_of_everything() == 1


@pytest.mark.parametrize(
    ("manifest", "why"),
    [
        ({"version": 2}, "reads gear-record-export 1"),
        ({"migrations": {"gear": ["9999_of_tomorrow"]}}, "newer version, which knows gear 9999_of_tomorrow"),
        ({"migrations": {"tomorrow": ["0001_initial"]}}, "newer version, which knows tomorrow 0001_initial"),
        ({"zone": "Europe/Berlin"}, "those of Europe/Berlin"),
        ({"demo": True}, "invented data"),
        ({"scope": {"kind": "until"}}, "a part of the record"),
    ],
    ids=lambda one: next(iter(one)) if isinstance(one, dict) else "",
)
def test_an_export_that_this_installation_cannot_hold_is_refused(record, here, manifest, why):
    path = other(here / "other.zip", unpacked(record), **manifest)
    with pytest.raises(CannotBring, match=why):
        bring_back(path, now=timezone.now())
    assert count_of_everything() == 0


def test_a_table_that_this_version_does_not_know_is_refused(record, here):
    files = {**unpacked(record), "tables/gear.tomorrow.jsonl": b""}
    with pytest.raises(CannotBring, match=r"tables/gear\.tomorrow\.jsonl, which this version does not know"):
        bring_back(other(here / "other.zip", files), now=timezone.now())


def test_an_export_that_is_not_what_was_recorded_is_refused_and_said_where(record, here):
    files = unpacked(record)
    rows = rows_in(files[ENTRIES])
    rows[0]["facts"]["identity"] = {**rows[0]["facts"]["identity"], "class": "4"}
    path = other(here / "other.zip", {**files, ENTRIES: lines_of(rows)})
    with pytest.raises(CannotBring, match=r"entries\.jsonl:1: entry 1 of item:B-1 .* was changed"):
        bring_back(path, now=timezone.now())
    half = here / "half.zip"
    half.write_bytes(record.read_bytes()[:-100])
    with pytest.raises(CannotBring, match="no whole zip file"):
        bring_back(half, now=timezone.now())
    with pytest.raises(CannotBring, match="printed seal 7: it is not there"):
        bring_back(record, printed=[(7, "0" * 64)], now=timezone.now())
    assert count_of_everything() == 0


@pytest.mark.parametrize(
    ("column", "value", "why"),
    [
        ("item_type", "nothing of the sort", "item_type cannot be"),
        ("made_on", "yesterday", "made_on cannot be"),
        ("hand", "B", r"gear\.item\.jsonl: .*item_hand_known"),
        ("item_type", 999, "do not belong together"),
    ],
)
def test_a_row_that_fits_no_table_is_refused_with_all_the_rest(record, here, column, value, why):
    """Of a table without a seal: the verifier alone would let it pass."""
    files, name = unpacked(record), "tables/gear.item.jsonl"
    rows = [{**row, column: value} for row in rows_in(files[name])]
    path = other(here / "other.zip", {**files, name: lines_of(rows)})
    with pytest.raises(CannotBring, match=why):
        bring_back(path, now=timezone.now())
    assert count_of_everything() == 0


def test_a_state_that_does_not_follow_from_its_entries_keeps_nothing(record, here):
    """A label that an entry does not tell of: found by the check after storing, and all of it is taken back."""
    files, name = unpacked(record), "tables/gear.item.jsonl"
    rows = [{**row, "serial": "made up"} for row in rows_in(files[name])]
    path = other(here / "other.zip", {**files, name: lines_of(rows)})
    with pytest.raises(CannotBring, match="does not prove itself"):
        bring_back(path, now=timezone.now())
    assert count_of_everything() == 0


def test_photos_of_an_import_that_failed_are_not_left_behind(here, cast, monkeypatch):
    everything(cast)
    path = exported(here / "record.zip")
    emptied()
    with pytest.raises(CannotBring, match=r"There is a file photos/2026/09/a\.jpg in the store already"):
        bring_back(path, now=timezone.now())
    assert default_storage.exists("photos/2026/09/a.jpg")
    default_storage.delete("photos/2026/09/a.jpg")
    monkeypatch.setattr(bringing_back, "restart_numbers", lambda: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        bring_back(path, now=timezone.now())
    assert not default_storage.exists("photos/2026/09/a.jpg")
    assert count_of_everything() == 0


def test_the_command_says_what_was_brought_in_or_why_nothing_was(record, here, capsys):
    builders.depot("Another")
    with pytest.raises(CommandError, match=r"(?s)not empty.*Nothing was stored\."):
        call_command("import_records", str(record))
    emptied()
    call_command("import_records", str(record))
    said = capsys.readouterr().out
    assert "Brought in: 2 entries" in said
    assert "confirm_restore" in said
    assert "add_person" in said
