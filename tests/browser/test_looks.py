"""A look by keyboard alone, the drawing tapped, rejects destroyed; every page of it accessible, on phone and desk."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

pytestmark = pytest.mark.django_db(transaction=True)
KINDS = ("glove", "sleeve", "blanket", "line_hose", "hood", "rigid_cover", "grounding_jumper")


@pytest.fixture
def gear(cast):
    """One piece of every kind with a drawing, X-1 to X-7, and a rejected blanket in somebody's hands."""
    for number, kind in enumerate(KINDS, 1):
        hand = "R" if kind in ("glove", "sleeve") else ""
        builders.item(kind, f"X-{number}", cls="2", hand=hand)
    blanket = builders.blanket("B-9", serial="SN-9")
    builders.issued(blanket, to=builders.holder("person", "Dev"), on=builders.today() - timedelta(days=5))
    facts = {"outcome": "reject", "scope": "pre_use", "words": ["cut"], "place": "face_a:square_6"}
    builders.happened(blanket, "inspected", by=cast.dev, **facts)


def test_a_look_by_keyboard_alone(live_server, page, sign_in, gear):
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/looks/new/")
    page.keyboard.type("x-3\n")  # as a hand scanner types
    expect(page.get_by_role("group", name="What follows?")).to_be_visible()
    page.keyboard.press("ArrowUp")  # from the first outcome round to the last
    expect(page.get_by_label("Reject: never use it again")).to_be_checked()
    page.get_by_label("square 6").focus()
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("The look is recorded. X-3: STOP")
    expect(page.get_by_role("textbox", name="Which item do you look at?")).to_be_focused()


def test_the_drawing_can_be_tapped_and_shows_what_is_ticked(live_server, open_page, sign_in, gear):
    page = open_page(viewport=PHONE)
    sign_in(page, "dev")
    page.goto(f"{live_server.url}/items/X-1/do/inspect_before_use/")
    palm = page.locator('[data-part="palm"] path')
    before = palm.evaluate("shape => getComputedStyle(shape).fill")
    page.locator('[data-part="palm"] text').click()
    expect(page.get_by_label("palm")).to_be_checked()
    assert palm.evaluate("shape => getComputedStyle(shape).fill") != before
    page.locator('[data-part="palm"] text').click()
    expect(page.get_by_label("palm")).not_to_be_checked()


def test_without_scripts_the_boxes_do_all_of_it(live_server, open_page, sign_in, gear):
    page = open_page(java_script_enabled=False, viewport=PHONE)
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/looks/new/?item=X-7")
    page.get_by_label("Send for test: in doubt").check()
    page.get_by_label("ferrule B").check()
    page.get_by_role("button", name="Record the look").click()
    expect(page.get_by_role("status")).to_contain_text("The look is recorded")


@pytest.mark.parametrize(("viewport", "scheme"), [(PHONE, "dark"), (DESK, "light")])
def test_the_pages_are_accessible_and_fit(live_server, open_page, sign_in, gear, viewport, scheme):
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "orla")
    looks = [f"/looks/new/?item=X-{number}" for number in range(1, len(KINDS) + 1)]
    others = (
        "/looks/new/",
        "/rejects/",
        "/rejects/destroy/?item=B-9",
        "/items/B-9/",
        "/people/qualifications/",
    )
    for address in (*looks, *others):
        page.goto(f"{live_server.url}{address}")
        for group in page.locator("details").all():
            group.evaluate("group => group.open = true")
        assert_accessible(page)
        assert_fits(page)


def test_a_reject_is_destroyed_before_a_witness_and_its_scan_alarms_the_supervisor(
    live_server, open_page, sign_in, gear, cast
):
    page = open_page()
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/rejects/")
    page.get_by_label("B-9").check()
    page.get_by_role("button", name="Destroy what is ticked").click()
    page.get_by_label("How were they destroyed").fill("cut in four")
    page.get_by_label("Every piece was cut up").check()
    page.get_by_label("Who saw it?").select_option(label="marisol")
    page.get_by_label("Password or PIN of the witness").fill("marisol keeps a secret")
    page.get_by_role("button", name="Record the destruction").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Destruction D-0001")
    page.goto(f"{live_server.url}/looks/new/?item=SN-9")  # it turns up on the bench
    expect(page.get_by_role("alert")).to_contain_text("was destroyed")
    supervisor = open_page(viewport=PHONE, color_scheme="dark")
    sign_in(supervisor, "ines")
    supervisor.get_by_role("link", name="1 scrapped piece was scanned this week").click()
    assert_accessible(supervisor)
    supervisor.get_by_role("link", name="Note what came of it").click()
    assert_accessible(supervisor)
    assert_fits(supervisor)
