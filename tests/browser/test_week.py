"""Ines on Monday: she opens the week on her phone, reads it, promises by keyboard, and the foreman sees it."""

import pytest
import time_machine

from tests.browser.conftest import PHONE, assert_accessible, assert_fits
from tests.reports.harbour import MORNING, harbour_gear

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def harbour(cast):
    with time_machine.travel(MORNING, tick=True):
        yield harbour_gear(cast)


def test_a_promise_by_keyboard_is_seen_by_the_foreman(live_server, harbour, open_page, sign_in):
    page = open_page(viewport=PHONE)
    sign_in(page, "ines")
    page.goto(f"{live_server.url}/week/")
    assert page.locator(".headline").inner_text().startswith("3 items are overdue in people's hands.")
    assert_accessible(page)
    assert_fits(page)
    crew = page.get_by_role("group", name="Promise for the ticked lines of Crew 7, Harbour depot")
    crew.get_by_label("Who closes it").focus()
    page.keyboard.press("Tab")
    crew.get_by_label("By").fill("2026-09-16")
    page.keyboard.press("Enter")
    page.get_by_role("status").wait_for()
    assert page.get_by_role("status").inner_text() == "bertrand: 4 lines promised."
    assert_accessible(page)
    foreman = open_page(viewport=PHONE)
    sign_in(foreman, "bertrand")
    foreman.goto(f"{live_server.url}/week/")
    assert foreman.get_by_text("bertrand, by 16 SEP 2026").count() == 4
    assert_fits(foreman)
