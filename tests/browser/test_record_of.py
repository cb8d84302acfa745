"""After an incident: Halvard asks what a glove was at that minute, Ines keeps it, and Orla cannot test it."""

from __future__ import annotations

import pytest

from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits
from tests.reports.incident import AT, incident

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.one_database]


def test_the_record_of_a_minute_and_the_piece_kept_as_evidence(cast, live_server, open_page, sign_in):
    """By keyboard where it is typed, at 390 px, without a fault of accessibility."""
    told = incident(cast, kept=False)
    item_no = told.left.item_no
    page = open_page(viewport=PHONE)
    sign_in(page, "halvard")
    page.goto(f"{live_server.url}/records/")
    page.get_by_role("link", name="Record of a piece").click()
    page.get_by_label("Item number, label code or serial").fill(item_no)
    page.get_by_label("As of", exact=True).fill(AT)
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Entered later about that moment or before").wait_for()
    said = page.locator("main").inner_text()
    for one in (
        "STOP. DO NOT USE",
        "GOOD THROUGH",
        "3 min",
        "Dev's phone",
        "10 SEP 2026 05:45",
        "11 SEP 2026 09:10",
    ):
        assert one in said
    assert_accessible(page)
    assert_fits(page)

    desk = open_page(viewport=DESK)
    sign_in(desk, "ines")
    desk.goto(f"{live_server.url}/items/{item_no}/")
    desk.get_by_role("link", name="Record as of a moment").wait_for()
    desk.get_by_role("link", name="Keep it as evidence").click()
    desk.get_by_label("Why?").fill("contact at pole 7")
    desk.get_by_role("button").last.click()
    desk.get_by_text("Kept as evidence since").first.wait_for()
    desk.goto(f"{live_server.url}/evidence/")
    desk.get_by_role("link", name="As of a moment").wait_for()
    assert_accessible(desk)

    page = open_page(viewport=PHONE)
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/tests/new/?item={item_no}")
    page.get_by_text("This item is kept as evidence").first.wait_for()
    assert_fits(page)
