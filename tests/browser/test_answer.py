"""The answer in a real browser: read by anyone, on any screen, in any light, and gone before it is stale."""

import io
import random
from datetime import timedelta

import pytest
from PIL import Image, ImageChops, ImageStat

from gear.models import GivenAnswer
from gear.rules import codes
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

GOOD, STOP, NEXT, NOBODYS = (codes.new_code(random.Random(number)) for number in range(4))
FINGER = 15 / 25.4 * 96  # 15 mm in CSS pixels: JOB.md, rules for screens used with gloves on
CONTRAST = 7  # to 1; WCAG 2.2, 1.4.6

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def gear(cast):
    today = builders.today()
    left = builders.glove("G-01234", hand="L", label=GOOD, serial="TX 88123", maker="Northbay", colour="red")
    right = builders.glove("G-01235", hand="R", serial="TX 88124", maker="Northbay", colour="red")
    builders.gather(left, right, set_no="P-0617")
    builders.tested(left, right, on=today - timedelta(days=40))
    builders.issued(left, right, on=today - timedelta(days=30), to=builders.holder("person", "Dev"))
    blanket = builders.blanket("B-00021", label=STOP, serial="4471", size="36 x 36")
    builders.tested(blanket, on=today - timedelta(days=500))
    builders.happened(blanket, "held", reason="cut near the eyelet", by=cast.dev)
    builders.tested(builders.blanket("B-00022", label=NEXT), on=today)


PLACES = {"good": f"/t/{GOOD}", "stop": f"/t/{STOP}", "unknown": f"/t/{NOBODYS}", "form": "/t/"}


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_everybody_can_read_it_on_any_screen(open_page, live_server, gear, place, scheme, screen):
    page = open_page(viewport=screen, color_scheme=scheme)
    page.goto(live_server.url + PLACES[place])
    assert_accessible(page)
    assert_fits(page)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_whoever_has_signed_in_reads_it_as_well(open_page, live_server, gear, sign_in, scheme):
    page = open_page(viewport=PHONE, color_scheme=scheme)
    sign_in(page, "dev")
    for place in PLACES.values():
        page.goto(live_server.url + place)
        assert_accessible(page)
        assert_fits(page)


@pytest.mark.parametrize(
    ("place", "words"), [("good", "GOOD THROUGH"), ("stop", "STOP"), ("unknown", "CAN'T SAY")]
)
def test_the_verdict_is_the_first_thing_on_a_phone(open_page, live_server, gear, place, words):
    page = open_page(viewport=PHONE)
    page.goto(live_server.url + PLACES[place])
    box = page.locator("#answer .verdict").bounding_box()
    assert page.locator("#answer .verdict .word").inner_text().startswith(words)
    assert box["y"] < 100
    assert box["width"] > 0.9 * PHONE["width"] - 32


def test_it_needs_no_script(open_page, live_server, gear):
    page = open_page(viewport=PHONE, java_script_enabled=False)
    page.goto(f"{live_server.url}/t/")
    page.get_by_label("Code on the label").fill(codes.grouped(GOOD).lower())
    page.get_by_role("button", name="Check").click()
    assert page.locator(".verdict .word").first.inner_text().startswith("GOOD THROUGH")
    assert page.get_by_text("Does the stamped serial match?").is_visible()
    page.get_by_label("Code on the label").fill(STOP)
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="B-00021").wait_for()
    assert page.locator(".verdict .word").first.inner_text() == "STOP. DO NOT USE"


def test_targets_are_big_enough_for_gloves(open_page, live_server, gear):
    page = open_page(viewport=PHONE)
    page.goto(live_server.url + PLACES["good"])
    for target in page.locator("main :is(button, input, .button)").all():
        assert target.bounding_box()["height"] >= FINGER - 0.1


def grey_verdict(page) -> Image.Image:
    return Image.open(io.BytesIO(page.locator("#answer .verdict").screenshot())).convert("L")


def luminance(grey: int) -> float:
    """Relative luminance of a grey (WCAG 2.2, definition)."""
    value = grey / 255
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_can_be_told_without_any_colour(open_page, live_server, gear, scheme):
    page = open_page(viewport=PHONE, color_scheme=scheme)
    shapes = {}
    for place in ("good", "stop", "unknown"):
        page.goto(live_server.url + PLACES[place])
        grey = grey_verdict(page)
        ground = max(enumerate(grey.histogram()), key=lambda pair: pair[1])[0]
        ink = grey.getextrema()[0]
        assert (luminance(ground) + 0.05) / (luminance(ink) + 0.05) >= CONTRAST
        shape = Image.open(io.BytesIO(page.locator("#answer .verdict .shape").screenshot())).convert("L")
        shapes[place] = shape.resize((48, 48)).point(lambda value: 255 if value > 140 else 0)
    for one, other in (("good", "stop"), ("stop", "unknown"), ("good", "unknown")):
        differing = ImageStat.Stat(ImageChops.difference(shapes[one], shapes[other])).mean[0] / 255
        assert differing > 0.08, f"{one} and {other} look alike in grey"


def test_stop_is_never_smaller_than_good(open_page, live_server, gear):
    page = open_page(viewport=PHONE)
    sizes = {}
    for place in ("good", "stop", "unknown"):
        page.goto(live_server.url + PLACES[place])
        sizes[place] = page.evaluate(
            "parseFloat(getComputedStyle(document.querySelector('#answer .word')).fontSize)"
        )
    assert sizes["stop"] >= sizes["good"]
    assert sizes["unknown"] >= sizes["good"]


def test_an_answer_ages_in_sight_and_is_gone_after_five_minutes(open_page, live_server, gear):
    page = open_page(viewport=PHONE)
    page.clock.install()
    page.goto(live_server.url + PLACES["good"])
    page.clock.run_for(130_000)
    assert page.get_by_text("That was 2 min ago.").is_visible()
    assert page.locator("#answer .word").inner_text().startswith("GOOD")
    page.clock.run_for(171_000)
    assert page.locator("#answer .word").inner_text() == "CAN'T SAY. DO NOT USE"
    assert page.get_by_text("too old. Scan the label again.").is_visible()
    assert "G-01234" not in page.locator("main").inner_text()


def test_a_clock_set_back_takes_the_answer_away(open_page, live_server, gear):
    page = open_page(viewport=PHONE)
    page.goto(live_server.url + PLACES["good"])
    page.evaluate("() => { const now = Date.now; Date.now = () => now() - 3600000; }")
    page.get_by_text("too old. Scan the label again.").wait_for()


def test_a_page_that_the_browser_kept_asks_again(open_page, live_server, gear):
    page = open_page(viewport=PHONE)
    page.goto(live_server.url + PLACES["good"])
    with page.expect_navigation():
        page.evaluate("dispatchEvent(new PageTransitionEvent('pageshow', {persisted: true}))")
    assert page.locator("#answer .word").inner_text().startswith("GOOD")
    assert GivenAnswer.objects.count() == 2


def test_the_last_answer_is_gone_before_the_next_is_asked_for(open_page, live_server, gear):
    page = open_page(viewport=PHONE)
    page.goto(live_server.url + PLACES["good"])
    page.evaluate(
        """() => document.querySelector('.code-form').addEventListener('submit',
             () => sessionStorage.setItem('left', document.querySelector('main').innerText))"""
    )
    page.get_by_label("Code on the label").fill(NEXT)
    page.get_by_role("button", name="Check").click()
    page.get_by_role("heading", name="B-00022").wait_for()
    left = page.evaluate("sessionStorage.getItem('left')")
    assert "CAN'T SAY. DO NOT USE" in left
    assert "GOOD" not in left
    assert "G-01234" not in left


def test_a_hand_scanner_types_into_the_field_on_a_desk_and_a_phone_keeps_its_keyboard_shut(
    open_page, live_server, gear
):
    desk, phone = open_page(), open_page(viewport=PHONE, has_touch=True, is_mobile=True)
    for page, typed in ((desk, "code"), (phone, "")):
        page.goto(live_server.url + PLACES["good"])
        assert page.evaluate("document.activeElement.id") == typed
        assert page.evaluate("scrollY") == 0
