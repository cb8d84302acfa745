"""The figures of phones are printed for every job and asserted by nobody; that the bench runs is."""

import io
import re
from contextlib import nullcontext

import pytest
from django.core.management import CommandError, call_command

from reports.actions import bench_browser, bench_server
from reports.actions.bench_browser import Timed
from tests import builders

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture(autouse=True)
def no_server(monkeypatch):
    monkeypatch.setattr(bench_server, "serving", lambda: nullcontext("http://bench"))


def run() -> str:
    told = io.StringIO()
    call_command("bench_phone", items=12, stdout=told)
    return told.getvalue()


def test_every_job_of_a_phone_has_a_line_of_figures(monkeypatch):
    monkeypatch.setattr(bench_browser, "timed", lambda *_given, **_more: iter(()))
    told = run()
    for job in ("data of one crew", "data of the whole depot", "live answer to one code", "50 records sent"):
        assert re.search(rf"^{job} +[\d.]+ +\d+ +[\d-]+ +\d+$", told, re.MULTILINE), told


def test_times_in_a_browser_stand_beside_their_goals_and_a_miss_is_no_failure(monkeypatch):
    def timed(address, case, *, rounds):
        assert (address, rounds) == ("http://bench", 20)
        assert case.truck == "Bench truck"
        yield Timed("scan offline", "< 300", [100.0, 4000.0, 120.0])

    monkeypatch.setattr(bench_browser, "timed", timed)
    told = run()
    assert re.search(r"^scan offline +< 300 +120 +4000 +3 +[\d.]+$", told, re.MULTILINE), told
    assert "4 times slower" in told
    assert "not measured" not in told


def test_without_a_browser_it_says_that_nothing_was_measured(monkeypatch):
    monkeypatch.delenv("CHROMIUM", raising=False)
    monkeypatch.setattr(bench_browser.shutil, "which", lambda _name: None)
    assert "not measured: Chromium is not installed" in run()


def test_a_book_in_use_is_not_filled():
    builders.blanket("B-1")
    with pytest.raises(CommandError, match="empty"):
        call_command("bench_phone")
