"""The overdue report as Ines opens it on Monday: at a desk and on a phone, in the light and in the dark."""

import re

import pytest
import time_machine

from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits
from tests.reports.harbour import MORNING, harbour_gear

pytestmark = pytest.mark.django_db(transaction=True)
ADDRESS = "/reports/overdue/"


@pytest.fixture
def harbour(cast):
    with time_machine.travel(MORNING, tick=True):
        yield harbour_gear(cast)


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_can_be_read_by_everybody_on_any_screen(
    live_server, harbour, open_page, sign_in, viewport, scheme
):
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "ines")
    page.goto(f"{live_server.url}{ADDRESS}")
    assert page.locator(".headline").inner_text().startswith("3 items are overdue in people's hands.")
    assert_accessible(page)
    assert_fits(page)
    page.goto(f"{live_server.url}{ADDRESS}?as_of=2026-02-30")
    assert (
        page.get_by_role("alert").inner_text() == "2026-02-30 is no day of the calendar. No report was made."
    )
    assert_accessible(page)
    assert_fits(page)


def test_another_day_is_asked_for_without_any_script(live_server, harbour, open_page, sign_in):
    page = open_page(java_script_enabled=False)
    sign_in(page, "ines")
    page.goto(f"{live_server.url}{ADDRESS}")
    page.get_by_label("As of the end of").fill("2026-08-01")
    page.get_by_role("button", name="Show").click()
    page.wait_for_url(re.compile("as_of=2026-08-01"))
    assert page.locator(".headline").inner_text().startswith("2 items are overdue in people's hands.")
    assert page.get_by_role("link", name="CSV").get_attribute("href").endswith("?as_of=2026-08-01")


def test_the_foreman_can_be_called_from_a_phone(live_server, harbour, open_page, sign_in):
    page = open_page(viewport=PHONE)
    sign_in(page, "ines")
    page.goto(f"{live_server.url}{ADDRESS}")
    call = page.get_by_role("link", name="Call bertrand: 555-0107")
    assert call.get_attribute("href") == "tel:5550107"
    assert call.bounding_box()["height"] >= 44
