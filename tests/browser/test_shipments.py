"""A carton of forty by keyboard and scanner alone: packed, sent, reconciled with one missing and one extra, closed."""

import pytest
from playwright.sync_api import expect

from gear.actions.acting import Act
from inspections.actions import shipments
from inspections.models import Shipment, ShipmentOutcome
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits
from tests.inspections import cartons

pytestmark = pytest.mark.django_db(transaction=True)
SLOW = 60_000  # ms: a scanner is quicker than a busy machine


def scan(page, item):
    """What a hand scanner does: types the number and presses Enter, without waiting for anything."""
    page.keyboard.type(item.item_no)
    page.keyboard.press("Enter")


@pytest.mark.both_databases
def test_a_carton_of_forty_out_and_back_by_keyboard(live_server, page, sign_in, cast):
    *sent, extra = cartons.fleet(41).all
    cartons.shelf()
    one = cartons.started(cast.orla)
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/shipments/{one.number}/")
    expect(page.get_by_label("Scan the next piece")).to_be_focused()
    for item in sent:
        scan(page, item)
    expect(page.get_by_role("heading", name="40 pieces in the carton")).to_be_visible(timeout=SLOW)
    scan(page, sent[0])
    expect(page.get_by_text("G-00001 is in this carton already.")).to_be_visible(timeout=SLOW)
    assert one.lines.count() == 40
    page.get_by_role("button", name="Send the carton").press("Enter")
    expect(page.get_by_role("heading", name="40 lines still open")).to_be_visible(timeout=SLOW)

    piece = page.get_by_label("Scan the next piece that came back")
    expect(piece).to_be_focused()
    page.get_by_label("It goes to").select_option(label="Back shelf")
    piece.focus()
    for item in sent[:39]:
        scan(page, item)
    expect(page.get_by_role("heading", name="1 line still open")).to_be_visible(timeout=SLOW)
    scan(page, extra)
    expect(page.get_by_text("was NOT on the slip")).to_be_visible(timeout=SLOW)
    left = page.get_by_role("region", name="1 line still open")
    expect(left).to_contain_text(sent[39].item_no)

    page.get_by_role("button", name="Close the shipment").press("Enter")
    expect(page.get_by_text("has open lines, so it cannot be closed")).to_be_visible(timeout=SLOW)
    page.get_by_role("button", name=f"Missing {sent[39].item_no}").press("Enter")
    expect(page.get_by_text("Every line is settled.")).to_be_visible(timeout=SLOW)
    page.get_by_role("button", name="Close the shipment").press("Enter")
    expect(page.get_by_text(f"{one.number} is closed.")).to_be_visible(timeout=SLOW)
    assert Shipment.objects.get().state == "closed"
    assert ShipmentOutcome.objects.filter(outcome="passed").count() == 39


def test_a_scan_that_is_refused_stays_in_sight_while_the_next_ones_go_on(live_server, page, sign_in, cast):
    gloves = cartons.fleet(3).all
    builders.happened(gloves[1], "rejected", reason="cut")
    one = cartons.started(cast.orla)
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/shipments/{one.number}/")
    for item in gloves:
        scan(page, item)
    expect(page.get_by_role("heading", name="2 pieces in the carton")).to_be_visible(timeout=SLOW)
    expect(page.get_by_text("G-00002: This item is rejected.")).to_be_visible(timeout=SLOW)


def test_a_scan_behind_a_carton_that_somebody_sent_is_said_to_be_lost(live_server, page, sign_in, cast):
    gloves = cartons.fleet(2).all
    one = cartons.packed(cast.orla, gloves[0])
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/shipments/{one.number}/")
    shipments.send(one.number, act=Act(cast.orla))
    scan(page, gloves[1])
    expect(page.get_by_text("G-00002: This was not kept.")).to_be_visible(timeout=SLOW)
    expect(page.get_by_text("is not being packed any more.")).to_be_visible()


@pytest.mark.parametrize(("viewport", "scheme"), [(DESK, "dark"), (PHONE, "light")])
def test_pages_of_cartons_are_accessible_and_fit(live_server, open_page, sign_in, cast, viewport, scheme):
    gloves = cartons.fleet(4).all
    packed, sent = cartons.packed(cast.orla, gloves[0]), cartons.sent(cast.orla, *gloves[1:])
    row = cartons.settle(sent, gloves[1], "missing", by=cast.orla)
    cartons.settle(sent, gloves[2], by=cast.orla)
    cartons.overdue(sent, 3)
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "orla")
    rows = f"/shipments/{sent.number}/rows/{row.pk}/"
    for address in (
        "/shipments/",
        f"/shipments/{packed.number}/",
        f"/shipments/{sent.number}/",
        rows,
        "/lab-files/",
    ):
        page.goto(f"{live_server.url}{address}")
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        assert_accessible(page)
        assert_fits(page)
