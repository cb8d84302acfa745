"""Sixty pairs taken in with the keyboard alone: from an empty form to 120 labels that a decoder reads."""

import pytest

from gear import labels
from gear.models import Item, ItemState
from tests.browser.conftest import PHONE, assert_accessible, assert_fits
from tests.gear.label_pdfs import pages_of, squares_on

pytestmark = pytest.mark.django_db(transaction=True)
TYPED = (
    ("class", "2"),
    ("size", "10"),
    ("length_mm", "360"),
    ("type", "II"),
    ("colour", "red over black"),
    ("maker", "Northbay"),
    ("model", "NB-14"),
    ("lot", "L-77"),
    ("count", "60"),
    ("first_no", "G-00101"),
    ("batch_set_no", "P-00051"),
    ("first_serial", "A0991"),
    ("last_serial", "A1050"),
)


def tab_to(page, name):
    """Press Tab until the field has the focus."""
    for _press in range(12):
        if page.evaluate("document.activeElement.name") == name:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"The field {name} is not reached by Tab.")


@pytest.mark.both_databases
def test_sixty_pairs_by_keyboard(open_page, live_server, sign_in, cast, settings, tmp_path):
    page = open_page()
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/receive/batch/?kind=glove")
    for name, text in TYPED:
        tab_to(page, name)
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Receive 120 pieces")
    assert not Item.objects.exists()
    page.keyboard.press("Enter")
    page.wait_for_selector("text=120 pieces received.")
    assert Item.objects.count() == 120
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Open the PDF")
    pdf = page.request.get(page.locator("text=Open the PDF").evaluate("link => link.href")).body()
    found = [text for drawn in pages_of(pdf, tmp_path) for text, _x, _y in squares_on(drawn)]
    wanted = ItemState.objects.order_by("item__item_no").values_list("label", flat=True)
    assert found == [labels.address(code, base_url=settings.BASE_URL) for code in wanted]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pages_are_accessible_and_fit_a_phone(open_page, live_server, sign_in, cast, scheme):
    page = open_page(viewport=PHONE, color_scheme=scheme)
    sign_in(page, "orla")
    for address in ("/receive/", "/receive/batch/?kind=glove", "/labels/?which=never", "/labels/log/"):
        page.goto(f"{live_server.url}{address}")
        assert_accessible(page)
        assert_fits(page)
