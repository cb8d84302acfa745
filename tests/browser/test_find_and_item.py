"""Find, the page of an item and the rules, in a real browser: read by anyone, on any screen."""

import random
from datetime import timedelta

import pytest

from gear.actions.corrections import replacement
from gear.ledger import Draft, record
from gear.rules import codes
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

CODE = codes.new_code(random.Random(11))
LIMIT = {
    "limit_ma": {
        "value": "16",
        "source": "29 CFR 1910.137",
        "clause": "Table I-1",
        "status": "read",
        "confirm": True,
    }
}
READINGS = {"supply": "ac", "applied_v": "20000", "seconds": "60", "leakage_ma": "11.2", "visual": "accept"}
PAGES = {
    "home": "/",
    "found": "/?q=20+kV+glove",
    "many": "/?q=blanket",
    "nothing": "/?q=zzz",
    "good": "/items/G-01234/",
    "stop": "/items/B-00021/",
    "past": "/items/G-01234/?as_of=2024-02-01",
    "unreadable": "/items/G-01234/?as_of=soon",
    "jumper": "/items/J-1/",
}

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def gear(cast):
    today = builders.today()
    left = builders.glove("G-01234", hand="L", label=CODE, serial="TX 88123", maker="Northbay")
    right = builders.glove("G-01235", hand="R", serial="TX 88124", maker="Northbay")
    builders.gather(left, right, set_no="P-0617")
    tested = builders.tested(left, right, on=today - timedelta(days=40), readings=READINGS, limit=LIMIT)
    builders.issued(
        left, right, on=today - timedelta(days=30), to=builders.holder("person", "Dev", person=cast.dev)
    )
    new = replacement(tested[0], facts={**tested[0].facts, "readings": {**READINGS, "leakage_ma": "12.1"}})
    stated = {"reason": "typed the wrong line", "replacement": new}
    record(Draft(left, "corrected", stated, corrects=tested[0]), by=cast.ines, via="web")
    blanket = builders.blanket(
        "B-00021", serial="4471-" + "0123456789" * 4, at=builders.holder("truck", "T-07")
    )
    builders.tested(blanket, on=today - timedelta(days=500))
    builders.happened(blanket, "held", reason="cut near the eyelet", by=cast.dev)
    for number in range(30):
        builders.blanket(f"B-1{number:04d}")
    jumpers = [builders.jumper(f"J-{number}") for number in range(3)]
    builders.gather(*jumpers, set_no="GS-1", kind="grounding")


@pytest.mark.parametrize(
    ("screen", "scheme"), [(PHONE, "light"), (PHONE, "dark"), (DESK, "light"), (DESK, "dark")]
)
def test_everybody_can_read_every_page_on_any_screen(open_page, live_server, sign_in, gear, screen, scheme):
    page = open_page(viewport=screen, color_scheme=scheme)
    sign_in(page, "dev" if screen is PHONE else "orla")
    for path in PAGES.values():
        page.goto(live_server.url + path)
        assert_accessible(page)
        assert_fits(page)


@pytest.mark.parametrize(("screen", "scheme"), [(PHONE, "dark"), (DESK, "light")])
def test_the_rules_can_be_read_on_any_screen(open_page, live_server, sign_in, cast, screen, scheme):
    page = open_page(viewport=screen, color_scheme=scheme)
    sign_in(page, "halvard")
    page.goto(f"{live_server.url}/rules/")
    assert_accessible(page)
    assert_fits(page)


def test_a_clerk_goes_from_words_to_the_item_to_its_label_without_script(
    open_page, live_server, sign_in, gear
):
    page = open_page(java_script_enabled=False)
    sign_in(page, "orla")
    page.goto(live_server.url)
    page.get_by_label("Scan or type").fill("20 kV glove 10")
    page.keyboard.press("Enter")
    page.get_by_text("names class 2 by its").wait_for()
    assert page.get_by_text("MAX USE 17,000 V").is_visible()
    page.get_by_role("link", name="G-01234").click()
    page.get_by_role("heading", name="G-01234").wait_for()
    assert page.locator(".verdict .word").inner_text().startswith("GOOD THROUGH")
    assert page.get_by_text("typed the wrong line").is_visible()
    page.get_by_role("link", name="Print its label").click()
    page.get_by_text(codes.grouped(CODE)).wait_for()


def test_a_code_sent_by_a_hand_scanner_opens_the_item(open_page, live_server, sign_in, gear):
    page = open_page()
    sign_in(page, "orla")
    page.goto(live_server.url)
    page.keyboard.type(CODE)  # the field has the focus
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="G-01234").wait_for()


def test_a_worker_sees_on_the_start_page_what_is_held(open_page, live_server, sign_in, gear):
    page = open_page(viewport=PHONE)
    sign_in(page, "dev")
    held = page.get_by_role("region", name="What you hold")
    assert held.get_by_role("link", name="G-01234").is_visible()
    assert held.get_by_role("link", name="B-00021").count() == 0
