"""Change-out in a real browser: a scanner that types and presses Enter, and no mouse."""

import pytest
from playwright.sync_api import expect

from gear.models import ItemState
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits
from tests.gear.test_exchange import good_pair, worn_pair

pytestmark = pytest.mark.django_db(transaction=True)
SLOW = 20_000  # ms: a scanner is quicker than a busy machine
LOOKS = [(DESK, "dark"), (PHONE, "light")]


@pytest.fixture
def counter(cast):
    cast.hand = builders.holder("person", "Dev", person=cast.dev)
    builders.holder("shelf", "Returns")
    cast.new, cast.old = good_pair("P-0100"), worn_pair(cast.hand)
    cast.larger = good_pair("P-0200", size="11")
    for keep in (0, 1):
        builders.happened(good_pair()[keep], "rejected", reason="torn")
    cast.leaver = builders.holder("person", "Wendell", leaving_on=builders.today())
    builders.issued(*good_pair(), to=cast.leaver)
    return cast


def where(*items):
    return [ItemState.objects.get(item=one).holder.name for one in items]


def scan(page, label, text):
    expect(page.get_by_role("textbox", name=label)).to_be_focused(timeout=SLOW)
    page.keyboard.type(text)
    page.keyboard.press("Enter")


@pytest.mark.both_databases
def test_three_scans_exchange_a_pair(live_server, page, sign_in, counter):
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/counter/")
    scan(page, "Person: badge", "dev")
    scan(page, "New pair", counter.new[0].item_no)
    expect(page.locator(".days strong")).to_be_visible(timeout=SLOW)
    scan(page, "Old pair", counter.old[1].item_no)
    expect(page.get_by_role("status")).to_contain_text("Dev has P-0100: GOOD THROUGH", timeout=SLOW)
    assert where(*counter.new, *counter.old) == ["Dev", "Dev", "The shelf", "The shelf"]
    expect(page.get_by_role("textbox", name="Person: badge")).to_be_focused(timeout=SLOW)


def test_another_size_is_ticked_and_the_old_pair_left_out_by_keys_alone(live_server, page, sign_in, counter):
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/counter/pair/?cls=2&size=11")
    expect(page.get_by_role("link", name="Hand out P-0200")).to_be_focused(timeout=SLOW)
    page.keyboard.press("Enter")
    scan(page, "Person: badge", "dev")
    scan(page, "Old pair", "-")
    tick = page.get_by_role("checkbox", name="Another size: this pair is size 11")
    expect(tick).to_be_focused(timeout=SLOW)
    assert where(*counter.larger) == ["The shelf", "The shelf"]
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("was not handed over", timeout=SLOW)
    assert where(*counter.larger, *counter.old) == ["Dev", "Dev", "Dev", "Dev"]


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
def test_the_pages_of_the_counter_are_accessible_and_fit(
    live_server, open_page, sign_in, counter, viewport, scheme
):
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "orla")
    address = f"{live_server.url}/counter/?to={counter.hand.pk}&new={counter.larger[0].item_no}"
    for one in (f"{live_server.url}/counter/", f"{live_server.url}/counter/?scan=nobody", address):
        page.goto(one)
        assert_accessible(page)
        assert_fits(page)
    page.get_by_role("button", name="Old pair not here").click()
    expect(page.get_by_role("alert")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("checkbox").first.check()
    page.get_by_role("button", name="Old pair not here").click()
    expect(page.get_by_role("status")).to_be_visible()
    for one in (
        "/counter/not-returned/",
        "/counter/pair/",
        "/counter/pair/?cls=2&length=long",
        "/counter/pair/?cls=2",
        "/reports/change-out/?days=60",
        "/odd-gloves/",
        f"/move-all/?source={counter.hand.pk}&to={builders.holder('truck', 'T-01').pk}",
        "/kits/",
    ):
        page.goto(f"{live_server.url}{one}")
        assert_accessible(page)
        assert_fits(page)
