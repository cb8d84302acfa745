"""The field screens in another language: every word of them comes from the catalog, and the device chooses which."""

import random
import re

import pytest
from django.utils.translation import trans_real
from playwright.sync_api import expect

from gear.rules import codes
from inspections.models import Device
from tests import builders
from tests.browser.conftest import PHONE, assert_accessible, assert_fits

pytestmark = pytest.mark.django_db(transaction=True)
OPEN, CLOSE = "\N{LEFT WHITE SQUARE BRACKET}", "\N{RIGHT WHITE SQUARE BRACKET}"
CONTEXT = "\x04"  # parts the context of a text from the text
NOT_WORDS = re.compile(r"[\d\W_]+\Z")
# What people and makers named, codes, units and names of languages: no words of ours.
GIVEN = {"Otter Rock", "Dev, Crew 7", "DEMO", "English", "français", "español", "A", "B", "V", "GLOVE-1"}


class Pseudo:
    """A catalog that puts every text between marks, so that one that never went through it shows."""

    def gettext(self, text):
        return f"{OPEN}{text.rpartition(CONTEXT)[2]}{CLOSE}" if text else ""

    def ngettext(self, one, many, count):
        return f"{OPEN}{one if count == 1 else many}{CLOSE}"

    def pgettext(self, context, text):
        return f"{OPEN}{text}{CLOSE}"

    def to_language(self):
        return "fr"

    def language(self):
        return "fr"

    def __getitem__(self, key):
        raise KeyError(key)


TEXTS = """() => {
  const found = [];
  const seen = (node) => node && getComputedStyle(node).visibility !== "hidden" && node.getClientRects().length;
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const text = walker.currentNode.textContent.trim();
    if (text && seen(walker.currentNode.parentElement)) found.push(text);
  }
  for (const one of document.querySelectorAll("[aria-label]")) {
    if (seen(one)) found.push(one.getAttribute("aria-label"));
  }
  return found;
}"""


def unmarked(page, given=()):
    """The texts that stand on the page and did not come from the catalog."""
    left = []
    for text in page.evaluate(TEXTS):
        rest = re.sub(f"{OPEN}[^{OPEN}]*{CLOSE}", "", re.sub(f"{OPEN}[^{OPEN}{CLOSE}]*{CLOSE}", "", text))
        if text.startswith("29 CFR"):
            continue  # a source is named as it is published
        for one in sorted({*GIVEN, *given}, key=len, reverse=True):
            rest = rest.replace(one, "") if len(one) > 1 else rest
        if rest.strip() and not NOT_WORDS.match(rest.strip()) and rest.strip() not in GIVEN:
            left.append(text)
    return left


def test_no_text_of_the_scan_is_left_in_english(live_server, open_page, sign_in, cast, monkeypatch):
    left, right = builders.pair(size="10", maker="Otter Rock")
    code = codes.new_code(random.Random(4))
    builders.happened(left, "labelled", code=code)
    builders.tested(left, right)
    builders.issued(left, right, to=builders.holder("person", "Dev", person=cast.dev))
    page = open_page(viewport=PHONE)
    sign_in(page, "dev")
    monkeypatch.setitem(trans_real._translations, "fr", Pseudo())
    page.context.add_cookies([{"name": "django_language", "value": "fr", "url": live_server.url}])
    found = {}
    named = {
        left.item_no,
        right.item_no,
        codes.grouped(code),
        "dev",
        "Dev",
        "The shelf",
        "Harbour depot",
        "Crew 7",
    }
    about = [f"{name}/{left.item_no}" for name in ("check", "damage", "event", "lend")]
    for screen in ("menu", "scan", "device", "mine", "unsent", "walk", "who", *about, f"answer/{code}"):
        page.goto(f"{live_server.url}/truck/#{screen}")
        page.reload()
        expect(page.locator("#screen")).to_have_attribute("data-screen", screen.split("/")[0])
        if screen.startswith("answer"):
            expect(page.locator(".verdict").first).to_be_visible(timeout=20_000)
        # Shown from the data of this phone, so that what is drawn is what a worker sees.
        expect(page.locator("#status [data-part=age]")).to_contain_text("Data", timeout=20_000)
        named |= set(Device.objects.values_list("name", flat=True))
        found.update({screen: texts} if (texts := unmarked(page, named)) else {})
    assert found == {}


def test_a_device_chooses_its_language(live_server, open_page, sign_in, cast):
    page = open_page(viewport=PHONE)
    sign_in(page, "dev")
    page.goto(f"{live_server.url}/truck/#device")
    expect(page.locator("html")).to_have_attribute("data-kept", "yes", timeout=20_000)
    page.get_by_label("Language").select_option("fr")
    page.get_by_role("button", name="Use this language").click()
    expect(page.get_by_role("heading", name="Cet appareil", exact=True)).to_be_visible(timeout=30_000)
    expect(page.locator("html")).to_have_attribute("lang", "fr")
    assert_accessible(page)
    assert_fits(page)
    page.goto(f"{live_server.url}/truck/#scan")
    expect(page.get_by_role("heading", name="Scanner une étiquette")).to_be_visible()
