"""The page of a bench session: a lost network, two clerks, the exceptions by key, small screens, no script."""

import pytest
from playwright.sync_api import expect

from inspections.models import BenchRow
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits
from tests.inspections.bench_day import day, in_service, typed

pytestmark = pytest.mark.django_db(transaction=True)
SLOW = 30_000


@pytest.fixture
def at_bench(live_server, open_page, sign_in, cast):
    """Opens a session, as Orla unless somebody else is named."""

    def opener(session, name="orla", **choices):
        page = open_page(**choices)
        page.context.set_default_timeout(SLOW)
        sign_in(page, name)
        page.goto(f"{live_server.url}/bench/{session.number}/")
        return page

    return opener


def scan(page, item, keys):
    expect(page.locator("#scan")).to_be_focused()
    page.keyboard.type(item.item_no)
    page.keyboard.press("Enter")
    page.keyboard.type(keys)
    page.keyboard.press("Enter")


def verdict(page, item):
    return page.locator(f'#verdict [data-item="{item.item_no}"]')


def test_rows_wait_while_the_network_is_lost_and_are_sent_once_in_order(at_bench, cast):
    session, gloves = day(cast.orla), in_service(count=4)
    page = at_bench(session)
    scan(page, gloves[0], "12.1")
    expect(verdict(page, gloves[0])).to_be_visible()
    page.context.set_offline(True)
    for glove, reading in zip(gloves[1:3], ("12.4", "16.4"), strict=True):
        scan(page, glove, reading)
        expect(page.locator("#waiting")).to_contain_text(f"{glove.item_no} {reading}: waits")
    page.keyboard.type("NOPE")
    page.keyboard.press("Enter")
    page.keyboard.type("12")
    page.keyboard.press("Enter")
    assert BenchRow.objects.count() == 1
    page.context.set_offline(False)
    expect(verdict(page, gloves[2])).to_contain_text("Rejected")
    expect(page.locator("#waiting")).to_contain_text("Not stored: Nothing in the book is known as NOPE")
    assert [row.item for row in BenchRow.objects.order_by("position")] == gloves[:3]
    page.reload()
    expect(page.locator("#waiting")).to_contain_text("Not stored: Nothing in the book is known as NOPE")
    page.get_by_role("button", name="Put it aside").click()
    expect(page.locator("#waiting")).to_be_hidden()
    scan(page, gloves[3], "12.2")
    expect(verdict(page, gloves[3])).to_be_visible()
    assert BenchRow.objects.count() == 4


def test_two_clerks_see_the_rows_of_both(at_bench, cast):
    cast.marisol.role = "clerk"
    cast.marisol.save()
    session, (one, other) = day(cast.orla), in_service(count=2)
    orla, marisol = at_bench(session), at_bench(session, "marisol")
    scan(orla, one, "12.1")
    scan(marisol, other, "12.4")
    for page in (orla, marisol):
        board = page.locator("#board")
        expect(board).to_contain_text(one.item_no, timeout=SLOW)
        expect(board).to_contain_text(other.item_no, timeout=SLOW)
    scan(marisol, one, "")
    expect(marisol.locator("#panel")).to_contain_text("In this session already, row 1")


def test_exceptions_are_typed_and_the_last_row_corrected_by_key(at_bench, cast):
    session, gloves = day(cast.orla), in_service(count=4)
    page = at_bench(session)
    for glove, keys, told in zip(
        gloves,
        ("B", "F", "12.1R", "12.2L"),
        ("Breakdown", "Flashover", "Rejected by eye", "Look after"),
        strict=True,
    ):
        scan(page, glove, keys)
        expect(verdict(page, glove)).to_contain_text(told)
    scan(page, gloves[3], "")  # once more: the look that was still to come has the focus, and Enter states it
    expect(page.locator("#look-accept")).to_be_focused()
    page.keyboard.press("Enter")
    expect(verdict(page, gloves[3])).to_contain_text("Accepted")
    page.keyboard.press("F2")
    expect(page.locator("#panel")).to_contain_text("corrects that row")
    page.locator("#id_reading").fill("12.3")
    page.keyboard.press("Enter")
    expect(page.locator("#id_why")).to_be_focused()
    page.keyboard.type("misread")
    page.keyboard.press("Enter")
    expect(verdict(page, gloves[3])).to_contain_text("12.3 mA")
    looks = BenchRow.objects.order_by("position").values_list("look_before", "look_after")
    assert list(looks)[2:4] == [("accept", "reject"), ("accept", "accept")]


def test_a_jumper_asks_for_its_temperature_and_shows_its_arithmetic(at_bench, cast):
    jumper = builders.jumper(cable_length_m="3.048")
    builders.tested(jumper)
    page = at_bench(day(cast.orla))
    scan(page, jumper, "1.250")
    expect(page.locator("#id_cable_temp_c")).to_be_focused()
    page.keyboard.type("35")
    page.keyboard.press("Enter")
    expect(verdict(page, jumper)).to_contain_text("at 20 °C: 1.1804 mΩ, at most 1.1548 mΩ")


@pytest.mark.parametrize(("viewport", "scheme"), [(DESK, "dark"), (PHONE, "light")])
def test_the_pages_are_accessible_and_fit(live_server, at_bench, cast, viewport, scheme):
    session = day(cast.orla)
    left, right = builders.pair()
    gloves = [left, right, *in_service(count=6)]
    builders.tested(left, right)
    for glove in gloves[:5]:
        typed(session, glove, "12.5", by=cast.orla)
    typed(session, gloves[5], "16.4", by=cast.orla)
    page = at_bench(session, viewport=viewport, color_scheme=scheme)
    scan(page, gloves[6], "0")
    expect(verdict(page, gloves[6])).to_be_visible()
    page.keyboard.type(gloves[5].item_no)
    page.keyboard.press("Enter")
    expect(page.locator("#panel .notice").first).to_be_visible()
    for group in page.locator("details").all():
        group.evaluate("(one) => { one.open = true; }")
    assert_accessible(page)
    assert_fits(page)
    for address in ("", f"{session.number}/post/", f"{session.number}/details/"):
        page.goto(f"{live_server.url}/bench/{address}")
        assert_accessible(page)
        assert_fits(page)


def test_without_a_script_every_row_is_a_form(live_server, at_bench, cast):
    session, (glove, other) = day(cast.orla), in_service(count=2)
    page = at_bench(session, java_script_enabled=False)
    for piece, reading, told in ((glove, "12.5", "Accepted"), (other, "16.4", "Rejected")):
        page.get_by_role("textbox", name="Scan").fill(piece.item_no)
        page.keyboard.press("Enter")
        page.get_by_label("Current, mA").fill(reading)
        page.keyboard.press("Enter")
        expect(verdict(page, piece)).to_contain_text(told)
