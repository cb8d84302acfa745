"""The supervisor's mail through the real pages: who is mailed, what was sent, and what is still in somebody's hands."""

from datetime import date

import pytest
from playwright.sync_api import expect

from reports.models import MailAddress, StopConfirmation
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits
from tests.reports import mail_rows

pytestmark = pytest.mark.django_db(transaction=True)


def test_an_address_is_listed_and_a_stop_is_confirmed_by_keyboard_on_a_phone(
    live_server, open_page, sign_in, cast
):
    report = mail_rows.report_on_file()
    mail_rows.stored(mail_rows.weekly_file())
    attempt = mail_rows.stored(mail_rows.mail_attempt(report=report))
    refused = {"outcome": "later", "detail": "the mail server did not answer in time."}
    mail_rows.stored(mail_rows.mail_outcome(attempt=attempt, **refused))
    blanket = builders.blanket("B-1", at=builders.holder("truck", "T-12"))
    builders.happened(blanket, "held", reason="cut", on=date(2026, 3, 2))
    page = open_page(viewport=PHONE)
    sign_in(page, "ines")

    page.goto(f"{live_server.url}/records/")
    page.get_by_role("link", name="Who is mailed").press("Enter")
    expect(page.get_by_text("Nobody is mailed.")).to_be_visible()
    page.get_by_label("Address", exact=True).fill("safety@example")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Address", exact=True)).to_have_attribute("aria-invalid", "true")
    assert_accessible(page)
    page.get_by_label("Address", exact=True).fill("safety@example.org")
    page.keyboard.press("Enter")
    expect(page.get_by_text("safety@example.org is mailed from now on.")).to_be_visible()
    assert MailAddress.objects.get().by == cast.ines

    page.get_by_role("link", name="Reports as sent").press("Enter")
    page.locator("summary").press("Enter")
    expect(page.get_by_text("did not answer in time")).to_be_visible()
    for width in (PHONE, DESK):
        page.set_viewport_size(width)
        assert_fits(page)
    assert_accessible(page)

    page.goto(f"{live_server.url}/stops/")
    assert_accessible(page)
    page.get_by_label("Where is it now? B-1").fill("locked in my office")
    page.keyboard.press("Enter")
    expect(page.get_by_text("B-1: what you said is kept.")).to_be_visible()
    expect(page.get_by_text("locked in my office")).to_be_visible()
    assert StopConfirmation.objects.get().item == blanket
    page.set_viewport_size(PHONE)
    assert_fits(page)
