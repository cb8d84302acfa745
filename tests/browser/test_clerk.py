"""What is done to gear, in a real browser: by keyboard, on a phone, by day and by night."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from gear.models import ItemState
from inspections.models import ElectricalTest
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

pytestmark = pytest.mark.django_db(transaction=True)
SLOW = 20_000  # ms: a keyboard is quicker than a busy machine
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


@pytest.mark.both_databases
def test_tests_are_logged_by_keyboard_alone(live_server, page, sign_in, gear):
    other = ItemState.objects.filter(gear_set__set_no="P-0617").exclude(item=gear).get().item
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/tests/new/")
    expect(page.get_by_role("textbox", name="Which item is on the bench?")).to_be_focused(timeout=SLOW)
    for item, reading, outcome in ((gear, "12.5", "ACCEPTED"), (other, "16.1", "FAILED. REJECTED")):
        page.keyboard.type(item.item_no)
        page.keyboard.press("Enter")
        expect(page.get_by_label("Current, mA")).to_be_focused(timeout=SLOW)
        page.keyboard.type(reading)
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", level=1, name=outcome)).to_be_visible(timeout=SLOW)
        expect(page.get_by_role("textbox", name="Next item")).to_be_focused(timeout=SLOW)
    assert [row.outcome for row in ElectricalTest.objects.order_by("entry__recorded_at")] == [
        "accepted",
        "failed",
    ]


def test_voltage_and_seconds_follow_supply_and_purpose_until_somebody_types(live_server, page, sign_in, gear):
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/tests/new/?item={gear.item_no}")
    volts, seconds = page.get_by_label("Proof voltage applied, kV"), page.get_by_label("Held for, seconds")
    page.get_by_label("DC", exact=True).check()
    expect(volts).to_have_value("50")
    page.get_by_label("Purpose").select_option("first")
    expect(seconds).to_have_value("180")
    volts.fill("51")
    page.get_by_label("AC", exact=True).check()
    expect(volts).to_have_value("51")
    expect(page.get_by_role("button", name="Fill in voltage")).to_have_count(0)


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
def test_pages_of_the_bench_are_accessible_and_fit(live_server, open_page, sign_in, gear, viewport, scheme):
    builders.jumper("J-1", cable_length_m="3.048")
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "orla")
    for address in ("", "?item=NOPE", f"?item={gear.item_no}", "?item=J-1"):
        page.goto(f"{live_server.url}/tests/new/{address}")
        assert_accessible(page)
        assert_fits(page)
    page.get_by_role("button", name="Record the test").click()
    expect(page.get_by_text("Resistance, milliohm is missing.")).to_be_visible()
    assert_accessible(page)
    page.get_by_label("Resistance, milliohm").fill("1.250")
    page.get_by_label("Temperature of the cable").fill("35")
    page.get_by_label("Accept", exact=True).first.check()
    page.get_by_role("button", name="Record the test").click()
    expect(page.get_by_role("heading", level=1, name="FAILED. REJECTED")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
def test_a_piece_is_received_and_its_label_code_shown(
    live_server, open_page, sign_in, cast, viewport, scheme
):
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/receive/")
    assert_accessible(page)
    assert_fits(page)
    page.get_by_role("link", name="Grounding jumper", exact=True).click()
    page.get_by_role("button", name="Receive it").click()
    expect(page.get_by_role("alert")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    page.get_by_label("Item number").fill("J-0001")
    page.get_by_label("Cable size").select_option("2/0")
    page.get_by_label("Cable length between clamps, m").fill("3.048")
    page.get_by_label("Cable length between clamps, m").press("Enter")
    expect(page.get_by_text("Label code")).to_be_visible()
    expect(page.get_by_role("link", name="Print its label")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
def test_an_entry_is_corrected_after_a_look_at_both_answers(
    live_server, open_page, sign_in, gear, cast, viewport, scheme
):
    hold = builders.happened(gear, "held", reason="cut near the cuff", by=cast.orla)
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "ines")
    for entry in (gear.entry_set.get(kind="received"), hold):
        page.goto(f"{live_server.url}/entries/{entry.pk}/correct/")
        assert_accessible(page)
        assert_fits(page)
    page.get_by_label("Withdraw it").check()
    page.get_by_label("Why is it corrected?").fill("another glove was meant")
    page.get_by_label("Why is it corrected?").press("Enter")
    expect(page.get_by_text("You are the second person")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    page.get_by_role("button", name="Record the correction").click()
    expect(page.get_by_role("status")).to_contain_text("GOOD THROUGH")
