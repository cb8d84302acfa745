"""What is done to gear, in a real browser: by keyboard, on a phone, by day and by night."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from gear.models import ItemState
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

pytestmark = pytest.mark.django_db(transaction=True)
LOOKS = [(DESK, "dark"), (PHONE, "light")]


@pytest.fixture
def gear(cast):
    today = builders.today()
    left, right = builders.pair("P-0617", serial="TX 88123")
    builders.tested(left, right, on=today - timedelta(days=40))
    blanket = builders.blanket("B-0021", serial="4471", size="36 x 36")
    builders.tested(blanket, on=today - timedelta(days=40))
    builders.happened(blanket, "held", reason="cut near the eyelet", by=cast.dev)
    builders.happened(builders.blanket("B-0022"), "rejected", reason="cut through")
    for number in range(1, 41):
        builders.holder("truck", f"T-{number:02}")
    return left


ACTS = {
    "dev": [("B-0021", "inspect_before_use"), ("B-0021", "report_event"), ("B-0021", "hold")],
    "orla": [("", "issue"), ("B-0021", "move"), ("B-0022", "destroy")],
}


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
@pytest.mark.parametrize("name", ["dev", "orla"])
def test_pages_of_acts_are_accessible_and_fit(live_server, open_page, sign_in, gear, viewport, scheme, name):
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, name)
    for item_no, verb in ACTS[name]:
        page.goto(f"{live_server.url}/items/{item_no or gear.item_no}/do/{verb}/")
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        for group in page.locator("details").all():
            group.click()
        assert_accessible(page)
        assert_fits(page)
        page.locator("form.fields button").click()
        expect(page.get_by_role("alert")).to_be_visible()
        assert_accessible(page)
        assert_fits(page)


def test_a_worker_rejects_on_a_phone(live_server, open_page, sign_in, gear):
    page = open_page(viewport=PHONE)
    sign_in(page, "marisol")
    page.goto(f"{live_server.url}/items/{gear.item_no}/do/inspect_before_use/")
    page.get_by_label("Reject: never use it again").check()
    page.get_by_text("Ends it").click()
    page.get_by_label("tear", exact=True).check()
    page.get_by_role("button", name="Record the look before use").click()
    expect(page.get_by_role("status")).to_contain_text("STOP. DO NOT USE. Damaged: tear")
    assert ItemState.objects.get(item=gear).condition == "rejected"
