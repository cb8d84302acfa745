"""The answer at the truck: word, shape and colour as on the server's page, and never an old `good`."""

import random
from datetime import timedelta

import pytest
from playwright.sync_api import expect

from gear.rules import codes
from tests import builders
from tests.browser.conftest import PHONE, assert_accessible, assert_fits
from tests.browser.truck import check_code, own_phone, screens_of

GOOD, STOP, ODD, NOBODYS = (codes.new_code(random.Random(number)) for number in range(91, 95))
FINGER = 15 / 25.4 * 96  # 15 mm in CSS pixels
CONTRAST = 7  # to 1, for a verdict
PRESSED = (
    "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0'], label:has(input)"
)
LISTEN = """
  globalThis.felt = []; globalThis.heard = 0;
  navigator.vibrate = (pattern) => felt.push(pattern.length);
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...when) { heard += 1; return start.apply(this, when); };
"""

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def gear(cast):
    today = builders.today()
    dev = builders.holder("person", "Dev")
    cast.dev.holder = dev
    cast.dev.save()
    left = builders.glove("G-01234", hand="L", label=GOOD, serial="TX 88123", maker="Northbay", colour="red")
    right = builders.glove("G-01235", hand="R", label=ODD, serial="TX 88124", maker="Northbay", colour="red")
    builders.gather(left, right, set_no="P-0617")
    builders.tested(left, right, on=today - timedelta(days=40))
    builders.issued(left, right, on=today - timedelta(days=30), to=dev)
    blanket = builders.blanket("B-00021", label=STOP, serial="4471", size="36 x 36")
    builders.tested(blanket, on=today - timedelta(days=500))
    builders.issued(blanket, on=today - timedelta(days=490), to=dev)
    builders.happened(blanket, "held", reason="cut near the eyelet", by=cast.dev)
    return left, right


@pytest.fixture
def phone(open_page, live_server, gear, cast):
    page = open_page(viewport=PHONE)
    page.add_init_script(LISTEN)
    return own_phone(page, live_server.url, cast.dev)


def word_of(page):
    return page.locator(".answer .word")


def test_the_answer_says_what_the_servers_page_says_and_more_than_one_reason(phone, live_server):
    check_code(phone, GOOD)
    expect(word_of(phone)).to_contain_text("GOOD THROUGH")
    expect(phone.get_by_text("Answered by the server")).to_be_visible()
    told = phone.locator("main").inner_text()
    for words in (
        "G-01234",
        "Does the stamped serial match?",
        "TX 88123",
        "MAX USE",
        "17,000 V",
        "Held by",
        "P-0617",
    ):
        assert words in told
    assert "20,000" not in told
    assert "20 kV" not in told
    good = word_of(phone).inner_text()

    check_code(phone, STOP)
    expect(word_of(phone)).to_have_text("STOP. DO NOT USE")
    reasons = phone.locator(".reasons .sentence").all_inner_texts()
    assert reasons[0].startswith("On hold since")
    assert "cut near the eyelet" in reasons[0]
    assert any(one.startswith("Out of date") for one in reasons[1:])
    assert "See the supervisor." in phone.locator(".reasons").inner_text()
    assert "by date alone: through" in phone.locator(".dates").inner_text()

    check_code(phone, NOBODYS)
    expect(word_of(phone)).to_have_text("CAN'T SAY. DO NOT USE")
    expect(phone.get_by_role("heading", name=codes.grouped(NOBODYS))).to_be_visible()

    phone.goto(f"{live_server.url}/t/{GOOD}")
    assert phone.locator("#answer .word").inner_text() == good


def test_each_verdict_is_felt_and_heard_and_silence_is_kept(phone):
    for code, words in ((GOOD, "GOOD"), (STOP, "STOP"), (NOBODYS, "CAN'T SAY")):
        check_code(phone, code)
        expect(word_of(phone)).to_contain_text(words)
    assert phone.evaluate("() => [felt, heard]") == [[1, 5, 3], 3]
    phone.get_by_role("link", name="Menu").click()
    phone.get_by_role("button", name="Sound is on").click()
    phone.reload()
    expect(phone.get_by_role("button", name="Sound is off")).to_be_visible()
    check_code(phone, GOOD)
    expect(word_of(phone)).to_contain_text("GOOD")
    assert phone.evaluate("() => [felt.length, heard]") == [1, 0]


def test_no_old_good_is_ever_shown_again(phone):
    phone.clock.install()
    phone.reload()
    check_code(phone, GOOD)
    expect(word_of(phone)).to_contain_text("GOOD")
    phone.clock.run_for(130_000)
    expect(phone.get_by_text("That was 2 min ago.")).to_be_visible()
    phone.clock.run_for(171_000)
    expect(word_of(phone)).to_have_text("CAN'T SAY. DO NOT USE")
    expect(phone.get_by_text("too old. Scan the label again.")).to_be_visible()
    assert "G-01234" not in phone.locator("main").inner_text()

    asked = []
    phone.on(
        "request", lambda request: asked.append(request.url) if "/truck/answer/" in request.url else None
    )
    check_code(phone, GOOD)
    expect(word_of(phone)).to_contain_text("GOOD")
    phone.get_by_role("link", name="Scan next").click()
    phone.go_back()
    expect(word_of(phone)).to_contain_text("GOOD")
    phone.reload()
    expect(word_of(phone)).to_contain_text("GOOD")
    assert len(asked) == 3  # typed, gone back to, reloaded: asked anew each time

    phone.evaluate("() => dispatchEvent(new PageTransitionEvent('pagehide', {persisted: true}))")
    assert phone.locator("main").inner_text() == ""  # what the browser may keep of it
    phone.evaluate("() => { const now = Date.now; Date.now = () => now() - 3600000; }")
    phone.evaluate("() => dispatchEvent(new PageTransitionEvent('pageshow', {persisted: true}))")
    expect(word_of(phone)).to_have_count(1)


def test_the_server_overrules_the_phone_aloud_and_the_last_answer_is_gone_before_the_next(phone, gear, cast):
    waiting = []
    phone.route("**/truck/answer/**", lambda route: waiting.append(route))  # a network that takes its time
    check_code(phone, GOOD)
    assert phone.locator("main").inner_text().startswith("Asking…")
    expect(word_of(phone)).to_contain_text("GOOD")
    expect(phone.get_by_text("From the data of this device as of")).to_be_visible()
    builders.happened(gear[0], "held", reason="smells of solvent", by=cast.marisol)
    waiting.pop().continue_()
    expect(word_of(phone)).to_have_text("STOP. DO NOT USE")
    expect(phone.get_by_text("The answer of this device no longer counts.")).to_be_visible()
    expect(phone.get_by_text("smells of solvent")).to_be_visible()
    assert phone.evaluate("() => felt") == [1, 5]

    phone.get_by_role("link", name="Scan next").click()
    phone.get_by_label("Code on the label").fill(ODD)
    phone.keyboard.press("Enter")
    assert "STOP" not in phone.locator("main").inner_text()
    assert "G-01234" not in phone.locator("main").inner_text()


def test_a_device_that_is_not_known_here_gets_the_servers_page(open_page, live_server, gear):
    page = open_page(viewport=PHONE)
    page.goto(f"{live_server.url}/truck/")
    expect(page.locator("#status")).to_contain_text("No data on this device")
    check_code(page, STOP)
    page.wait_for_url(f"{live_server.url}/t/{STOP}")
    expect(page.locator("#answer .word")).to_have_text("STOP. DO NOT USE")
    page.get_by_role("link", name="Scan with the camera").click()
    expect(page.get_by_role("heading", name="Scan a label")).to_be_visible()


# Gloves, rain and sun


def too_small(page) -> list[str]:
    """What can be pressed on this screen and is smaller than a finger in a glove."""
    return page.evaluate(
        """([pressed, least]) => [...document.querySelectorAll(':is(#status, #screen) :is(' + pressed + ')')]
             .filter((one) => one.checkVisibility() && (one.matches('label') || !one.closest('label')))
             .map((one) => [one.outerHTML.slice(0, 120), one.getBoundingClientRect()])
             .filter(([, box]) => Math.min(box.width, box.height) < least)
             .map(([html, box]) => `${Math.round(box.width)} x ${Math.round(box.height)}: ${html}`)""",
        [PRESSED, FINGER - 0.5],
    )


def least_contrast(page) -> float:
    """The contrast of the words of verdicts to what is behind them (WCAG 2.2, definition of contrast ratio)."""
    pairs = page.evaluate(
        """() => [...document.querySelectorAll('.verdict .word')]
             .map((one) => [getComputedStyle(one).color, getComputedStyle(one.parentElement).backgroundColor]
               .map((colour) => colour.match(/[0-9.]+/g).slice(0, 3).map(Number)))"""
    )
    lights = [sorted((luminance(ink), luminance(ground))) for ink, ground in pairs]
    return min(((light + 0.05) / (dark + 0.05) for dark, light in lights), default=CONTRAST)


def luminance(colour: list[float]) -> float:
    """Relative luminance of red, green and blue from 0 to 255 (WCAG 2.2, definition)."""
    parts = [one / 255 for one in colour]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_screen_can_be_read_and_pressed_with_gloves_on(open_page, live_server, gear, cast, scheme):
    page = own_phone(open_page(viewport=PHONE, color_scheme=scheme), live_server.url, cast.dev)
    addresses = [
        *(f"{name}/" for name in screens_of(page)),
        *(f"{name}/G-01234" for name in screens_of(page)),
    ]
    for address in [*addresses, f"answer/{GOOD}", f"answer/{STOP}", f"answer/{NOBODYS}"]:
        page.goto(f"{live_server.url}/truck/#{address}")
        expect(page.locator("#screen :is(h1, h2, .verdict)").first).to_be_visible()
        assert too_small(page) == [], address
        assert least_contrast(page) >= CONTRAST, address
        assert_fits(page)
        assert_accessible(page)
