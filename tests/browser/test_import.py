"""The pages that bring in files, in a browser: readable on a desk and a phone, usable by keyboard and script-free."""

import pytest
from playwright.sync_api import Page, expect

from gear.models import Item
from tests.books import bench_book, gear_book
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("own_storage")]
GOOD = [
    {"item_no": "G-00001", "hand": "L", "set_no": "P-0001"},
    {"item_no": "G-00002", "hand": "R", "set_no": "P-0001"},
    {
        "item_no": "B-00001",
        "kind": "blanket",
        "hand": "",
        "holder": "T-03",
        "holder_kind": "truck",
        "condition": "held",
    },
]
DIRTY = [
    *GOOD,
    {"item_no": "G-00003", "length_mm": "14"},
    {"item_no": "G-00004", "hand": "", "made_on": "3/4/2026"},
]


@pytest.fixture
def own_storage(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"


def upload(page: Page, address: str, path) -> None:
    page.goto(address)
    page.get_by_label("File").set_input_files(path)
    page.get_by_role("button", name="Show every line's fate").click()
    expect(page.get_by_role("heading", name=path.name)).to_be_visible()


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_import_page_is_accessible_and_fits(
    live_server, open_page, sign_in, cast, tmp_path, size, scheme
):
    page = open_page(viewport=size, color_scheme=scheme)
    sign_in(page, "orla")
    for address in ("/import/", "/import/gear/", "/import/tests/"):
        page.goto(f"{live_server.url}{address}")
        assert_accessible(page)
        assert_fits(page)
    upload(page, f"{live_server.url}/import/gear/", gear_book(tmp_path, *DIRTY))
    expect(page.get_by_text("2 lines are refused, so nothing can be stored.")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without script"])
def test_a_clerk_brings_in_a_book_and_its_tests(live_server, open_page, sign_in, cast, tmp_path, script):
    page = open_page(java_script_enabled=script)
    sign_in(page, "orla")
    upload(page, f"{live_server.url}/import/gear/", gear_book(tmp_path, *GOOD))
    page.get_by_role("button", name="Store 3 new lines").click()
    expect(page.get_by_text("gear.csv: 3 new lines stored.")).to_be_visible()
    rows = [{"item_no": "G-00001"}, {"item_no": "G-00002", "leakage_ma": "16.5", "lab_result": "accept"}]
    upload(page, f"{live_server.url}/import/tests/", bench_book(tmp_path, *rows))
    expect(page.get_by_text("The item is rejected: current above the limit.")).to_be_visible()
    page.get_by_role("button", name="Store 2 new lines").click()
    expect(page.get_by_text("tests.csv: 2 new lines stored.")).to_be_visible()
    assert Item.objects.count() == 3
