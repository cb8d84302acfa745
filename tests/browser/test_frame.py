"""The frame of every page: sign-in, refusals and the admin site, on a desk and on a phone, by day and by night."""

import pytest
from django.template.loader import render_to_string
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

LOOKS = [(DESK, "light"), (DESK, "dark"), (PHONE, "light"), (PHONE, "dark")]


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
@pytest.mark.parametrize("address", ["/login/", "/nothing/here/"])
def test_pages_of_the_house_are_accessible_and_fit(live_server, open_page, viewport, scheme, address):
    page = open_page(viewport=viewport, color_scheme=scheme)
    page.goto(live_server.url + address)
    assert_accessible(page)
    assert_fits(page)


def test_signing_in_and_out_by_keyboard_alone(live_server, page, cast):
    page.goto(f"{live_server.url}/nothing/here/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.goto(f"{live_server.url}/login/")
    expect(page.get_by_label("Name")).to_be_focused()
    page.keyboard.type("pim")
    page.keyboard.press("Tab")
    page.keyboard.type("pim keeps a secret")
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "/login/" not in url)
    page.goto(f"{live_server.url}/login/")
    page.get_by_role("button", name="Sign out").press("Enter")
    expect(page.get_by_role("button", name="Sign out")).to_have_count(0)


def test_a_wrong_password_is_told_in_an_alert(live_server, page, cast):
    page.goto(f"{live_server.url}/login/")
    page.get_by_label("Name").fill("orla")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("Name and password do not match")
    assert_accessible(page)


def test_the_admin_site_works_under_the_policy(live_server, page, cast, sign_in):
    sign_in(page, "pim")
    page.goto(f"{live_server.url}/admin/")
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.locator("#header .theme-toggle").click()  # its script runs: the first click leaves "auto"
    expect(page.locator("html")).not_to_have_attribute("data-theme", "auto")


def test_demo_stands_on_every_page_and_on_paper(live_server, page, settings):
    settings.DEMO = True
    for address in ("/login/", "/nothing/here/"):
        page.goto(live_server.url + address)
        for medium in ("screen", "print"):
            page.emulate_media(media=medium)
            expect(page.get_by_text("DEMO", exact=True)).to_be_visible()


SHAPES = {"good": "GOOD THROUGH 2 OCT 2026", "stop": "STOP. DO NOT USE", "unknown": "CAN'T SAY. DO NOT USE"}


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
def test_verdicts_are_word_and_shape_and_never_smaller_for_stop(live_server, open_page, viewport, scheme):
    page = open_page(viewport=viewport, color_scheme=scheme)
    page.goto(f"{live_server.url}/login/")
    parts = [
        render_to_string("gear/verdict.html", {"verdict": name, "words": words})
        for name, words in SHAPES.items()
    ]
    page.evaluate(
        "html => { document.querySelector('main').innerHTML = '<h1>Answer</h1>' + html }", "".join(parts)
    )
    sizes = [
        page.locator(f".verdict.{name} .word").evaluate("e => getComputedStyle(e).fontSize")
        for name in SHAPES
    ]
    assert len(set(sizes)) == 1
    for name, words in SHAPES.items():
        expect(page.locator(f".verdict.{name}")).to_contain_text(words)
        expect(page.locator(f".verdict.{name} svg title")).to_have_text(name.capitalize())
    assert_accessible(page)
    assert_fits(page)


@pytest.mark.parametrize("verdict", ["", "GOOD", "fine", None, "unknown"])
def test_anything_but_good_and_stop_shows_unknown(verdict):
    block = render_to_string("gear/verdict.html", {"verdict": verdict, "words": "GOOD"})
    assert 'class="verdict unknown"' in block
    assert "<title>Unknown</title>" in block
    assert "SAY. DO NOT USE" in block


def test_good_without_a_sentence_is_not_good():
    block = render_to_string("gear/verdict.html", {"verdict": "good", "words": ""})
    assert 'class="verdict unknown"' in block
    assert "<title>Unknown</title>" in block
