"""The supervisor looks ahead and back: states what the bench takes, reads the weeks, and the year in figures."""

import pytest
from playwright.sync_api import expect

from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

pytestmark = pytest.mark.django_db(transaction=True)


def test_weeks_and_year(live_server, open_page, sign_in, cast):
    builders.holder("bench", "Bench 1")
    builders.blanket("B-1")
    page = open_page(viewport=PHONE)
    sign_in(page, "ines")
    page.goto(f"{live_server.url}/coming-weeks/")
    expect(page.locator(".headline")).to_contain_text("No capacity is stated.")
    page.get_by_role("link", name="What bench and labs take").press("Enter")
    page.get_by_label("Bench or lab").select_option(label="Bench 1 (Bench)")
    page.get_by_label("Pieces a week").fill("40")
    page.get_by_role("button", name="Keep it").press("Enter")
    expect(page.get_by_text("Bench 1: 40 pieces a week from")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    page.get_by_role("link", name="Coming weeks").press("Enter")
    expect(page.get_by_role("img", name="What falls due, week by week")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    page.goto(f"{live_server.url}/statistics/")
    assert_accessible(page)
    assert_fits(page)
    page.set_viewport_size(DESK)
    page.get_by_label("Year").press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Method and sources")).to_be_visible()
    assert_accessible(page)
