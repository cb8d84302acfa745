"""`manage.py overdue_report`: every format, any day, a file whole or not at all, and a status to be trusted."""

import csv
import io
import json
import os

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from gear.models import ItemState
from reports.management.commands import overdue_report as command
from reports.management.commands.overdue_report import Command
from reports.rules.overdue import DoesNotReconcile
from tests import builders

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def told(*options):
    out = io.StringIO()
    call_command("overdue_report", *options, stdout=out)
    return out.getvalue()


def refusal(*options):
    with pytest.raises(CommandError) as refused:
        told(*options)
    return str(refused.value), refused.value.returncode


# Formats


def test_json_is_the_default(fleet):
    assert json.loads(told()) == json.loads(told("--format", "json"))
    assert [line["item_no"] for line in json.loads(told())["off_the_road"]] == ["B-over_on_shelf"]


def test_csv_has_every_line(fleet):
    lines = list(csv.DictReader(io.StringIO(told("--format", "csv"), newline="")))
    assert len(lines) == 11


def test_html_is_one_document_that_needs_no_server(fleet):
    html = told("--format", "html")
    assert html.startswith("<!doctype html>")
    assert "B-held" in html
    assert not [word for word in ("src=", "href=", "url(", "@import", "<script") if word in html]


def test_html_is_whole_however_long(cast, monday, monkeypatch):
    monkeypatch.setattr("reports.pdf.overdue.PHONE_LINES", 1)
    for number in range(3):
        builders.blanket(f"B-{number}", at=builders.holder("truck", "T-12"))
    html = told("--format", "html")
    assert all(f"B-{number}" in html for number in range(3))


@pytest.mark.parametrize(("wanted", "beginning"), [("pdf", b"%PDF-"), ("xlsx", b"PK")])
def test_pdf_and_workbook_go_to_a_file(fleet, tmp_path, wanted, beginning):
    target = tmp_path / f"report.{wanted}"
    assert told("--format", wanted, "-o", str(target)) == ""
    assert target.read_bytes().startswith(beginning)


def test_the_paper_can_be_a4(fleet):
    assert "size: a4;" in told("--format", "html", "--paper", "a4")


def test_a_workbook_does_not_go_to_a_terminal(fleet):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    with pytest.raises(CommandError, match="Name a file with -o") as refused:
        call_command("overdue_report", "--format", "xlsx", stdout=Terminal())
    assert refused.value.returncode == 2


# Days


def test_any_past_day_is_told_again_from_the_entries(fleet):
    then = json.loads(told("--as-of", "2026-08-01"))
    assert then["as_of"] == "2026-08-01"
    assert [line["days_over"] for line in then["usable_now"] if line["kind"] == "glove"] == [1, 1]
    assert then["totals"]["items_in_book"] == 13


def test_before_there_was_a_book_there_is_an_empty_report(fleet):
    then = json.loads(told("--as-of", "2020-01-01"))
    assert then["totals"]["items_in_book"] == 0


@pytest.mark.parametrize("text", ["2026-13-01", "soon", "01/02/2026", "2026-9-1"])
def test_a_day_that_cannot_be_read_is_refused_with_status_2(fleet, text):
    sentence, status = refusal("--as-of", text)
    assert sentence.startswith(f"--as-of: {text} is n")
    assert status == 2


# Files


def test_a_file_is_replaced_whole_and_nothing_else_is_left(fleet, tmp_path):
    target = tmp_path / "report.json"
    target.write_text("last week's")
    told("-o", str(target))
    assert json.loads(target.read_text())["as_of"] == "2026-09-14"
    assert os.listdir(tmp_path) == ["report.json"]


def test_a_file_that_cannot_be_finished_leaves_what_was_there(fleet, tmp_path, monkeypatch):
    target = tmp_path / "report.json"
    target.write_text("last week's")

    def no_space(_descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(command.os, "fsync", no_space)
    sentence, status = refusal("-o", str(target))
    assert "No space left on device. Nothing was changed." in sentence
    assert status == 2
    assert target.read_text() == "last week's"
    assert os.listdir(tmp_path) == ["report.json"]


def test_a_folder_that_is_not_there_is_refused(fleet, tmp_path):
    sentence, status = refusal("-o", str(tmp_path / "nowhere" / "report.json"))
    assert "cannot be written: No such file or directory" in sentence
    assert status == 2


@pytest.mark.parametrize("place", ["folder", "/dev/null"])
def test_what_is_no_file_is_refused_and_left_alone(fleet, tmp_path, place):
    (tmp_path / "folder").mkdir()
    sentence, status = refusal("-o", str(tmp_path / place))
    assert "is not a file" in sentence
    assert status == 2


def test_a_link_keeps_leading_to_the_file(fleet, tmp_path):
    (tmp_path / "link.json").symlink_to(tmp_path / "report.json")
    told("-o", str(tmp_path / "link.json"))
    assert (tmp_path / "link.json").is_symlink()
    assert json.loads((tmp_path / "report.json").read_text())["as_of"] == "2026-09-14"


# What is broken


def test_one_broken_state_is_listed_as_unknown_the_rest_is_whole_and_the_status_says_so(fleet, tmp_path):
    ItemState.objects.filter(item=fleet.due_in_7).update(facts={"holds": "nonsense"})
    target = tmp_path / "report.json"
    sentence, status = refusal("-o", str(target))
    report = json.loads(target.read_text())
    assert status == 1
    assert "1 item cannot be relied upon: B-due_in_7." in sentence
    broken = next(line for line in report["usable_now"] if line["item_no"] == "B-due_in_7")
    assert (broken["holder"], broken["reasons"][0]["code"]) == ("T-12", "RECORD_UNREADABLE")
    assert len(report["usable_now"]) == 7
    assert (report["totals"]["unknown"], report["totals"]["items_in_book"]) == (1, 13)


def test_a_report_that_does_not_reconcile_is_not_made(fleet, tmp_path, monkeypatch):
    def one_short(*_given, **_named):
        raise DoesNotReconcile("12 items were judged; 13 to 13 are in the table.")

    monkeypatch.setattr("reports.queries.overdue.overdue", one_short)
    sentence, status = refusal("-o", str(tmp_path / "report.json"))
    assert "does not account for every item, so it was not made: 12 items were judged" in sentence
    assert status == 1
    assert os.listdir(tmp_path) == []


def test_an_item_that_the_answers_pass_over_is_missed(fleet, monkeypatch):
    from gear.queries.book import Book

    whole = Book.now
    monkeypatch.setattr(Book, "now", lambda book: list(whole(book))[1:])
    sentence, status = refusal()
    assert "12 items were judged; 13 to 13 are in the table" in sentence
    assert status == 1


# As a program


def test_the_program_ends_with_its_status(cast, capsys):
    def ended(*arguments):
        """(status, what it wrote, what it complained of), as manage.py runs it."""
        try:
            Command().run_from_argv(["manage.py", "overdue_report", *arguments])
        except SystemExit as end:
            return (end.code, *capsys.readouterr())
        return (0, *capsys.readouterr())

    status, written, _complaint = ended()
    assert (status, json.loads(written)["usable_now"]) == (0, [])
    status, written, complaint = ended("--as-of", "tomorrow")
    assert (status, written) == (2, "")
    assert complaint.startswith("CommandError: --as-of: tomorrow is neither a day nor a moment.")
    assert ended("--format", "docx")[0] == 2
