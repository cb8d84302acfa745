"""The export as people ask for it: by command, on a page, of everything, of some pieces, of a past moment."""

import csv
import io
import json
import stat
from zipfile import ZipFile

import pypdf
import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.utils import DatabaseError
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from gear.actions import corrections
from gear.actions.acting import Act
from gear.ledger.rows import tables
from gear.ledger.snapshot import one_moment
from gear.models import Depot, Entry, Seal
from gear.rules import gearbook
from gear.rules.tables import read
from inspections.models import ElectricalTest
from inspections.rules import testbook
from reports.actions import exporting
from reports.actions.exporting import Asked, export, one_at_a_time
from reports.queries.books import rows_of_tests
from reports.rules import dossier_check
from reports.rules.verify_export import ENTRIES, MANIFEST, Check
from reports.views import exports
from tests import builders
from tests.reports.harbour import MORNING
from tests.reports.recorded import everything, rows_in, unpacked

pytestmark = pytest.mark.django_db


@pytest.fixture
def here(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT, settings.DATA_DIR = tmp_path / "media", tmp_path
    monkeypatch.setattr(exporting, "weekly_pdf", lambda week: b"%PDF-1.7 set elsewhere")
    with time_machine.travel(MORNING, tick=True):
        yield tmp_path


def exported(asked=None):
    target = io.BytesIO()
    return target, export(target, asked)


def test_every_table_is_in_it_whoever_made_it(here, cast):
    everything(cast)
    target, made = exported()
    manifest = json.loads(ZipFile(target).read(MANIFEST))
    assert [one["name"] for one in manifest["tables"]] == [table.name for table in tables()]
    assert {one["name"]: one["rows"] for one in manifest["tables"]} == {
        table.name: table.model._base_manager.count() for table in tables()
    }
    assert made.entries == Entry.objects.count()
    assert made.missing == []


def test_lists_are_files_that_the_import_reads(here, cast):
    everything(cast)
    files = unpacked(exported()[0])
    for name, rules in (("gear-book", gearbook), ("test-book", testbook)):
        content = files[f"lists/{name}.csv"]
        table = read(f"{name}.csv", content, columns=rules.COLUMNS, required=rules.REQUIRED)
        book = rules.parse(table, today=builders.today())
        assert len(book.rows) == len(list(csv.reader(io.StringIO(content.decode())))) - 1, book.problems
    assert b"B-destroyed,2026-09-02,cut up,,ines" in files["lists/destroyed.csv"]
    assert b"B-held" in files["lists/overdue.csv"]


def test_a_test_that_was_withdrawn_is_in_no_list(here, cast):
    """Whoever brings the list in elsewhere must not get a test back that was taken out of the record here."""
    everything(cast)
    wrong = ElectricalTest.objects.select_related("entry", "item").first()
    listed = [one[0] for one in rows_of_tests()]
    corrections.correct(wrong.entry, new=None, reason="it was another one", act=Act(cast.ines))
    listed.remove(wrong.item.item_no)
    assert [one[0] for one in rows_of_tests()] == listed != []


def test_the_read_me_says_how_to_check_it_and_what_is_not_in_it(here, cast):
    everything(cast)
    read_me = unpacked(exported()[0])["READ ME.txt"].decode()
    seal = Seal.objects.order_by("-number").first()
    assert "python3 -I verify_export.py EXPORT.zip" in read_me
    assert f"Newest seal: {seal.number}:{seal.hash}" in read_me
    assert "cannot be left out" in read_me


def test_of_a_past_moment_everything_known_then_is_there_and_nothing_later(here, cast):
    fleet = everything(cast)
    until = fleet.first_seal.sealed_at
    target, made = exported(Asked(until=until))
    assert Check(target).run([(1, fleet.first_seal.hash)]) == []
    assert made.seal == f"1:{fleet.first_seal.hash}"
    assert 0 < made.entries == Entry.objects.filter(recorded_at__lte=until).count() < Entry.objects.count()


def test_a_photo_that_is_gone_from_the_store_is_told_and_stops_nothing(here, cast):
    fleet = everything(cast)
    (here / "media" / fleet.photo.path).unlink()
    target, made = exported()
    assert made.missing == [f"media/{fleet.photo.path}"]
    assert f"media/{fleet.photo.path}: this file was missing already" in " ".join(Check(target).run())


def test_the_number_of_statements_does_not_grow_with_the_book(here, cast):
    def statements(asked=None):
        with CaptureQueriesContext(
            connection,
        ) as captured:
            exported(asked)
        return len(captured)

    builders.tested(builders.blanket("B-1"), by=cast.dev)
    few = statements()
    for number in range(2, 23):
        builders.tested(builders.blanket(f"B-{number}"), by=cast.dev)
    assert statements() == few

    def of_pieces(count):
        return statements(Asked(items=tuple(f"B-{number}" for number in range(1, count + 1))))

    assert of_pieces(11) == of_pieces(22)


def test_of_a_few_pieces_the_record_of_each_is_there_on_paper(here, cast):
    for number in range(1, 12):
        builders.tested(builders.blanket(f"B-{number}"), by=cast.dev)
    target, _made = exported(Asked(items=("B-1", "B-2")))
    papers = {name: ZipFile(target).read(name) for name in ZipFile(target).namelist() if "papers/" in name}
    assert sorted(papers) == ["papers/record-B-1.pdf", "papers/record-B-2.pdf"]
    paper = papers["papers/record-B-1.pdf"]
    assert "B-1" in pypdf.PdfReader(io.BytesIO(paper)).pages[0].extract_text()
    assert dossier_check.problems_of(dossier_check.attached(paper)) == []
    many, _made = exported(Asked(items=tuple(f"B-{number}" for number in range(1, 12))))
    assert not [name for name in ZipFile(many).namelist() if "papers/" in name]


# One moment


@pytest.mark.django_db(transaction=True)
def test_what_is_recorded_meanwhile_is_not_seen_and_nothing_can_be_written(here):
    builders.depot("Before")
    with one_moment():
        assert [depot.name for depot in Depot.objects.all()] == ["Before"]
        with pytest.raises(DatabaseError, match=r"readonly|read-only"):
            Depot.objects.create(name="Within")
    builders.depot("After")
    assert {depot.name for depot in Depot.objects.all()} == {"Before", "After"}
    assert [path.name for path in here.glob("moment-*")] == []


# By command


def test_the_command_writes_a_file_for_its_owner_alone_and_tells_what_to_keep(here, cast, capsys):
    everything(cast)
    path = here / "record.zip"
    call_command("export_records", str(path))
    said = capsys.readouterr().out
    seal = Seal.objects.order_by("-number").first()
    assert f"Newest seal: {seal.number}:{seal.hash}" in said
    check = Check(path)
    with check.files:
        assert check.run() == []
    assert f"SHA-256 of its manifest: {check.hashes[MANIFEST]}" in said
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with pytest.raises(CommandError, match="is there already"):
        call_command("export_records", str(path))
    assert [one.name for one in here.glob(".*")] == []


def test_the_command_exports_one_piece_and_names_one_that_is_not_there(here, cast):
    builders.blanket("B-1")
    builders.blanket("B-2")
    call_command("export_records", str(here / "one.zip"), item=["B-1"])
    assert {row["subject"] for row in rows_in(unpacked(here / "one.zip")[ENTRIES])} == {"item:B-1"}
    with pytest.raises(CommandError, match="There is no B-9, B-99 in the book"):
        call_command("export_records", str(here / "other.zip"), item=["B-9", "B-1", "B-99"])
    with pytest.raises(CommandError, match="not both"):
        call_command("export_records", str(here / "other.zip"), item=["B-1"], until=timezone.now())
    assert sorted(one.name for one in here.glob("*.zip")) == ["one.zip"]


# On the page


@pytest.fixture
def halvard(cast, here):
    client = Client()
    client.force_login(cast.halvard)
    return client


def test_the_auditor_downloads_an_export_that_checks_out(halvard):
    builders.blanket("B-1")
    answer = halvard.get(reverse("export_file"))
    content = b"".join(answer.streaming_content)
    assert answer.status_code == 200
    assert answer["Content-Disposition"] == 'attachment; filename="gear-record-2026-09-14.zip"'
    assert int(answer["Content-Length"]) == len(content)
    assert Check(io.BytesIO(content)).run() == []


def test_an_auditor_downloads_some_pieces_by_their_numbers(halvard):
    builders.blanket("B-1")
    builders.blanket("B-2")
    answer = halvard.get(reverse("export_file"), {"item": "B-1, B-2"})
    assert answer["Content-Disposition"] == 'attachment; filename="gear-record-B-1-B-2.zip"'
    files = unpacked(io.BytesIO(b"".join(answer.streaming_content)))
    assert len(rows_in(files["tables/gear.item.jsonl"])) == 2


@pytest.mark.parametrize(
    ("asked", "status", "why"),
    [
        ({"item": "B-9"}, 404, "There is no B-9 in the book."),
        ({"item": " "}, 400, "Give the number of a piece."),
        ({"item": " ".join(f"B-{one}" for one in range(201))}, 400, "Give at most 200 pieces at once."),
    ],
)
def test_what_cannot_be_exported_is_told_on_the_page(halvard, asked, status, why):
    answer = halvard.get(reverse("export_file"), asked)
    assert answer.status_code == status
    assert why in answer.content.decode()


def test_one_export_is_made_at_a_time(halvard):
    with one_at_a_time():
        answer = halvard.get(reverse("export_file"))
    assert answer.status_code == 503
    assert "Another export is being made." in answer.content.decode()


def test_a_record_too_large_for_a_download_is_left_to_the_command(halvard, monkeypatch):
    monkeypatch.setattr(exports, "MOST_ENTRIES", 0)
    builders.blanket("B-1")
    assert "manage.py export_records" in halvard.get(reverse("exports")).content.decode()
    assert halvard.get(reverse("export_file")).status_code == 400


def test_the_page_says_how_large_it_is_and_gives_the_program(halvard):
    builders.blanket("B-1")
    page = halvard.get(reverse("exports")).content.decode()
    assert "about 1 megabyte" in page
    program = halvard.get(reverse("export_program"))
    assert program.content.startswith(b"#!/usr/bin/env python3")


@pytest.mark.parametrize("asked", [{}, {"item": "G-00001"}])
def test_whoever_is_bound_to_a_depot_takes_nothing_away_of_the_others(cast, asked):
    cast.ines.depot = cast.depot
    cast.ines.save()
    client = Client()
    client.force_login(cast.ines)
    answer = client.get(reverse("export_file"), asked)
    assert answer.status_code == 403
    assert "you answer for one" in answer.content.decode()
