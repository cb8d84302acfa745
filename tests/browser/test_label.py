"""A printed label is read back by a decoder that has nothing to do with what drew it."""

import io
import random
import subprocess
from datetime import timedelta

import pytest
import zxingcpp
from PIL import Image

from gear import labels
from gear.rules import codes
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

CODE = codes.new_code(random.Random(7))
LEAST_MM = 20  # LIBRARIES.md, reading limit of a phone camera for a version 3 square

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def gear(cast):
    today = builders.today()
    left, right = builders.glove("G-1", hand="L", label=CODE), builders.glove("G-2", hand="R")
    builders.gather(left, right, set_no="P-7")
    builders.tested(left, right, on=today - timedelta(days=9))
    builders.issued(left, right, on=today - timedelta(days=8))


def read_squares(picture: Image.Image) -> list[str]:
    return [found.text for found in zxingcpp.read_barcodes(picture)]


@pytest.mark.parametrize(("screen", "scheme"), [(DESK, "light"), (PHONE, "light"), (PHONE, "dark")])
def test_the_page_can_be_read_and_scanned_off_the_screen(
    open_page, live_server, sign_in, gear, settings, screen, scheme
):
    page = open_page(viewport=screen, color_scheme=scheme)
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/items/G-1/label/")
    assert_accessible(page)
    assert_fits(page)
    picture = Image.open(io.BytesIO(page.locator(".label").screenshot()))
    assert read_squares(picture) == [labels.address(CODE, base_url=settings.BASE_URL)]


def test_the_print_can_be_scanned_and_holds_the_label_alone(
    open_page, live_server, sign_in, gear, settings, tmp_path
):
    page = open_page()
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/items/G-1/label/")
    page.pdf(path=tmp_path / "label.pdf", format="Letter")
    subprocess.run(
        ["pdftoppm", "-r", "200", "-gray", "-png", tmp_path / "label.pdf", tmp_path / "label"], check=True
    )
    sheets = sorted(tmp_path.glob("label*.png"))
    assert len(sheets) == 1
    assert read_squares(Image.open(sheets[0])) == [labels.address(CODE, base_url=settings.BASE_URL)]
    text = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "label.pdf", "-"], check=True, capture_output=True, text=True
    ).stdout
    for words in (
        "G-1",
        "Class 2, yellow",
        "17,000 V",
        "GOOD THROUGH",
        "scan to confirm",
        codes.grouped(CODE),
    ):
        assert words in text
    for stray in ("Sign out", "Print this page", "20,000", "20 kV", "qualified person"):
        assert stray not in text


def test_the_printed_square_is_big_enough_for_a_camera(open_page, live_server, sign_in, gear):
    page = open_page()
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/items/G-1/label/")
    page.emulate_media(media="print")
    box = page.locator(".label .square").bounding_box()
    assert min(box["width"], box["height"]) / 96 * 25.4 >= LEAST_MM
