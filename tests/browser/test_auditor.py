"""Halvard's morning: 84 of 300 drawn and nothing found, what that proves, and a glove that failed, traced back."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from gear.ledger import Draft, record_many
from gear.models import Entry, Item, Refusal
from tests import builders
from tests.browser.conftest import PHONE, assert_accessible, assert_fits

pytestmark = pytest.mark.django_db(transaction=True)


def three_hundred():
    """A pair of which one glove failed while Dev wore it, and 298 blankets on a truck."""
    today = builders.today()
    left, right = builders.pair("P-1", on=today - timedelta(days=300))
    builders.tested(left, right, on=today - timedelta(days=100))
    builders.issued(left, right, on=today - timedelta(days=90))
    builders.tested(left, outcome="failed", codes=[{"code": "LEAKAGE_OVER"}])
    first = builders.blanket("B-000", at=builders.holder("truck", "T-12"))
    facts = first.entry_set.get(kind="received").facts
    more = Item.objects.bulk_create(
        [Item(item_no=f"B-{number:03d}", item_type=first.item_type) for number in range(1, 298)]
    )
    stated = {name: facts[name] for name in ("identity", "holder")}
    record_many([Draft(one, "received", stated, occurred_on=today) for one in more], by=None, via="system")
    return left, right


def test_a_sample_drawn_and_a_failed_glove_traced(live_server, open_page, sign_in, cast):
    left, right = three_hundred()
    before = (Entry.objects.count(), Refusal.objects.count())
    page = open_page(viewport=PHONE)
    sign_in(page, "halvard")
    page.goto(f"{live_server.url}/records/")
    page.get_by_role("link", name="Random sample").press("Enter")
    page.get_by_label("Start number").fill("40711")
    page.get_by_label("To catch at least one").fill("3")
    page.get_by_role("button", name="Draw").press("Enter")
    expect(page.get_by_role("heading", name="84 of 300, start number 40711")).to_be_visible()
    first = page.locator("#pieces + div tbody th a").first.inner_text()
    page.get_by_label("How many of the 84 were bad").fill("0")
    page.keyboard.press("Enter")
    expect(page.get_by_text("None of the 84 drawn was bad.")).to_be_visible()
    expect(page.get_by_text("at most 8 of the 300 are (2.7 %)")).to_be_visible()
    expect(page.get_by_text("Whoever draws again until a sample pleases has proven nothing.")).to_be_visible()
    assert page.locator("#pieces + div tbody th a").first.inner_text() == first
    assert_accessible(page)
    assert_fits(page)

    page.goto(f"{live_server.url}/trace/")
    page.get_by_label("Item number, label code or serial").fill(left.item_no)
    page.keyboard.press("Enter")
    expect(page.get_by_text("passed its last good test on")).to_be_visible()
    expect(page.get_by_role("rowheader", name="Dev", exact=False).first).to_be_visible()
    expect(page.get_by_text("2 pieces are concerned, itself included.")).to_be_visible()
    expect(page.get_by_role("link", name=right.item_no)).to_be_visible()
    assert page.get_by_role("button", name="Hold").count() == 0  # he reads and changes nothing
    assert_accessible(page)
    assert_fits(page)
    for address in ("registers/corrections/", "registers/rules/", "registers/refusals/"):
        page.goto(f"{live_server.url}/{address}")
        assert_accessible(page)
        assert_fits(page)
    page.goto(f"{live_server.url}/reports/as-of/?as_of={builders.today().isoformat()}")
    expect(page.get_by_text("0 rows differ")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    assert (Entry.objects.count(), Refusal.objects.count()) == before
