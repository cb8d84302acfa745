"""Forty people and their gloves through the real page: keyed, pasted, put right, looked at, checked in, seen off."""

import pytest
from playwright.sync_api import expect

from gear.models import Item
from inspections.models import ElectricalTest, VisitRow
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits
from tests.inspections import visiting

pytestmark = pytest.mark.django_db(transaction=True)
SLOW = 60_000  # ms: forty people on a busy machine


@pytest.mark.both_databases
def test_forty_people_and_their_pairs(live_server, open_page, sign_in, cast):
    page = open_page(viewport=DESK)
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/visitors/")
    assert_accessible(page)
    page.get_by_label("Whose crew is it?").fill("Harrow Bay")
    page.get_by_label("Expected until").fill(builders.today().isoformat())
    page.get_by_role("button", name="Start the visit").press("Enter")

    said = visiting.shared()
    for label, name in (("Class", "class"), ("Length, mm", "length_mm"), ("Maker", "maker"), ("Tested on", "tested_on"),
                        ("Test voltage, V", "applied_v"), ("Seconds", "seconds"), ("Lab", "lab"),
                        ("Report number", "report_no"), ("The lab says: accept or reject", "lab_result")):  # fmt: skip
        page.get_by_label(label, exact=True).fill(said[name])
    page.get_by_label("Numbers of the reports that you have before you").fill(visiting.REPORT)
    page.get_by_role("button", name="Keep what holds for all").press("Enter")
    expect(page.get_by_text("Kept.")).to_be_visible()

    # The first person by keyboard alone: six fields and Enter.
    expect(page.get_by_label("Person", exact=True)).to_be_focused()
    for cell in visiting.row(1).values():
        page.keyboard.type(cell)
        page.keyboard.press("Tab")
    page.get_by_label("Current of the right, mA").press("Enter")
    expect(page.get_by_role("heading", name="1 row kept, not in the book yet")).to_be_visible()
    # The others from a spreadsheet, one of them under a number that is on another glove.
    rest = visiting.sheet(40).split("\n")[1:]
    page.get_by_text("Paste many rows").click()
    page.get_by_label("Rows from a spreadsheet or a CSV file").fill("\n".join([*rest, rest[0]]))
    page.get_by_role("button", name="Keep the rows").press("Enter")
    expect(page.get_by_text("1 row is not right yet.")).to_be_visible(timeout=SLOW)
    expect(page.get_by_role("heading", name="41 rows kept, not in the book yet")).to_be_visible()
    page.get_by_role("button", name="Check in", exact=True).press("Enter")
    expect(page.get_by_text("Nothing was checked in: 1 rows are not right yet.")).to_be_visible(timeout=SLOW)
    assert not Item.objects.exists()
    page.get_by_role("button", name="Strike Visitor 2, 41").press("Enter")
    expect(page.get_by_role("heading", name="40 rows kept, not in the book yet")).to_be_visible(timeout=SLOW)
    looks = page.get_by_role("region", name="Looked at by you").get_by_role("combobox")
    assert looks.count() == 40
    for at in range(39):
        looks.nth(at).select_option("accept")
    page.get_by_role("button", name="Keep the looks").press("Enter")
    expect(page.get_by_text("The looks are kept in your name.")).to_be_visible(timeout=SLOW)
    page.get_by_role("button", name="Check in", exact=True).press("Enter")
    expect(page.get_by_text("78 pieces here are good. 2 pieces must not be used.")).to_be_visible(
        timeout=SLOW
    )
    assert (Item.objects.count(), ElectricalTest.objects.filter(outcome="accepted").count()) == (80, 78)
    assert VisitRow.objects.filter(look="").count() == 1
    assert_accessible(page)
    narrow = open_page(viewport=PHONE)
    sign_in(narrow, "bertrand")
    narrow.goto(page.url)
    assert_fits(narrow)
    answer = page.request.get(f"{page.url}slip.pdf?person=Visitor%201", timeout=SLOW)
    assert answer.body()[:5] == b"%PDF-"

    for box in page.get_by_role("checkbox").all()[:79]:
        box.check()
    page.get_by_role("button", name="The ticked pieces went home").press("Enter")
    expect(page.get_by_text("1 piece is still here.")).to_be_visible(timeout=SLOW)
    page.get_by_role("checkbox").check()
    page.get_by_label("If missing: what is known of it").fill("left on a truck")
    page.get_by_role("button", name="The ticked pieces are missing").press("Enter")
    expect(page.get_by_text("This visit was over on")).to_be_visible(timeout=SLOW)
