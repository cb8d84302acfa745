"""What fails in silence is told: from the banner to the page, by keyboard, on a phone and at a desk."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from gear.models import NightlyResult
from gear.queries import health
from gear.queries.health import AMBER, RED, WELL, Finding
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

FOUND = (
    Finding(
        "MAIL_LATE",
        RED,
        "Weekly mail",
        "Monday's report reached nobody. Run manage.py send_weekly_report, then read what it says.",
        timezone.now(),
        page="weekly_reports",
    ),
    Finding("CLOCK_ALONE", AMBER, "Clock", "No time service keeps it right."),
    Finding("DISK", WELL, "Disk", "80.1 GB (31 %) are free."),
)


@pytest.mark.browser
@pytest.mark.looks_after_itself
@pytest.mark.one_database
def test_from_the_banner_to_what_to_do(transactional_db, cast, open_page, sign_in, live_server, monkeypatch):
    monkeypatch.setattr(health, "CHECKS", [lambda _now: FOUND])
    health.forget()
    run = "6f1f2f52-40d4-4d5e-9d9f-2b9f7a3f0f11"
    long = (
        "All is well: 18805 entries of 3495 items and all seals are as they were recorded. Last seal: 1:"
        + "9f" * 32
    )
    for step, ok in (("seal", True), ("ledger", False)):
        NightlyResult(run=run, at=timezone.now(), step=step, ok=ok, sentence=long).save()
    for viewport in (DESK, PHONE):
        page = open_page(viewport=viewport)
        page.goto(f"{live_server.url}/login/")
        expect(page.get_by_text("Something about this installation needs its administrator.")).to_be_visible()
        expect(page.get_by_text("Weekly mail")).to_have_count(0)
        sign_in(page, "ines")
        page.goto(f"{live_server.url}/records/")
        assert_accessible(page)
        assert_fits(page)
        page.get_by_role("link", name="What is wrong and what to do").focus()
        page.keyboard.press("Enter")
        headings = page.get_by_role("heading", level=2)
        expect(headings).to_have_text(
            ["To be mended today 1", "Worth knowing 1", "Well 1", "What ran last night"]
        )
        expect(page.get_by_text("Monday's report reached nobody.")).to_be_visible()
        assert_accessible(page)
        assert_fits(page)
    health.forget()
