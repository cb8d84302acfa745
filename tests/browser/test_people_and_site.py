"""The pages about people, places and the site's rules in a real browser: legible to all, on a phone and at a desk."""

import re
from datetime import date, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from gear.actions import people, places
from gear.actions.acting import Act
from gear.models import Entry, Holder
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

PASSWORD = "brackish water rises twice"


@pytest.fixture
def staffed(transactional_db, cast):
    """A crew with a phone, a truck, and Tomas, who has left and still holds a pair of gloves."""
    places.change_crew(cast.crew, name="Crew 7", depot=cast.depot, phone="555-0107", act=Act(None))
    builders.holder("truck", "T-12")
    details = people.Details(
        first_name="Tomas", last_name="Vale", email="tomas.vale@example.org", crew=cast.crew, has_gear=True
    )
    cast.tomas = people.add("tomas", details=details, password=PASSWORD, act=Act(cast.pim))
    left, right = builders.pair(set_no="P-00417")
    builders.tested(left, right, on=date(2026, 3, 2))
    builders.issued(left, right, to=Holder.objects.get(person=cast.tomas), on=date(2026, 3, 2))
    people.set_pin(cast.tomas, pin="4071", act=Act(cast.ines))
    people.deactivate(cast.tomas, reason="moved to the coast", act=Act(cast.ines))
    return cast


def addresses(cast):
    about = f"/people/{cast.tomas.pk}"
    return [
        "/people/",
        "/people/?q=nobody",
        "/people/new/",
        f"{about}/",
        f"{about}/edit/",
        f"{about}/password/",
        f"{about}/pin/",
        f"{about}/active/",
        "/my/password/",
        "/crews/",
        "/crews/new/",
        f"/crews/{cast.crew.pk}/",
        "/depots/",
        f"/depots/{cast.depot.pk}/",
        "/holders/",
        "/holders/new/",
        f"/holders/{Holder.objects.get(name='T-12').pk}/",
        "/site/",
        "/site/policy/",
        "/site/pack/",
    ]


@pytest.mark.parametrize(("viewport", "scheme"), [(PHONE, "light"), (DESK, "dark")], ids=["phone", "desk"])
def test_every_page_is_legible_and_fits(open_page, sign_in, live_server, staffed, viewport, scheme):
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "pim")
    for address in addresses(staffed):
        page.goto(live_server.url + address)
        assert_accessible(page)
        assert_fits(page)


def test_a_person_is_added_with_the_keyboard_alone(page, sign_in, live_server, staffed):
    sign_in(page, "ines")
    page.goto(f"{live_server.url}/people/new/")
    page.get_by_label("Username").focus()
    order = []
    for typed in ("sela", "Sela", "Marsh", "", "", "", "", "", "", ""):
        order.append(page.evaluate("document.activeElement.name"))
        page.keyboard.type(typed)
        page.keyboard.press("Tab")
    assert order == [
        "username",
        "first_name",
        "last_name",
        "email",
        "role",
        "crew",
        "depot",
        "has_gear",
        "password",
        "again",
    ]
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sela Marsh")
    expect(page.get_by_role("status")).to_contain_text("Sela Marsh was added")


def test_what_is_wrong_is_told_beside_the_field_to_those_who_cannot_see_it(
    page, sign_in, live_server, staffed
):
    sign_in(page, "ines")
    page.goto(f"{live_server.url}/people/new/")
    page.get_by_label("Username").fill("orla")
    page.get_by_role("button", name="Add this person").click()
    username = page.get_by_label("Username")
    expect(username).to_have_attribute("aria-invalid", "true")
    expect(username).to_have_accessible_description(re.compile("This username is taken"))
    expect(page.get_by_role("alert")).to_be_visible()
    assert_accessible(page)


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_a_policy_is_refused_looked_at_and_recorded(open_page, sign_in, live_server, staffed, viewport):
    blanket = builders.blanket()
    tested_on = timezone.localdate() - timedelta(days=200)
    builders.tested(blanket, on=tested_on)
    builders.issued(blanket, on=tested_on)
    page = open_page(viewport=viewport)
    sign_in(page, "ines")
    page.goto(f"{live_server.url}/site/")
    page.get_by_role("link", name="Set a new policy").click()
    glove = page.get_by_label("Glove, Test interval", exact=True)
    glove.fill("7")
    page.get_by_role("button", name="See what would change").click()
    expect(page.get_by_text("7 months is longer than the 6 months of the rule pack")).to_be_visible()
    expect(glove).to_have_attribute("aria-invalid", "true")
    assert_accessible(page)
    assert_fits(page)
    glove.fill("")
    page.get_by_label("Blanket, Test interval", exact=True).fill("6")
    page.get_by_role("button", name="See what would change").click()
    expect(page.get_by_role("row", name=blanket.item_no)).to_contain_text("STOP. DO NOT USE")
    assert_accessible(page)
    assert_fits(page)
    page.get_by_label("Reason").fill("safety manual 4.2")
    page.get_by_label("Your password").fill("ines keeps a secret")
    page.get_by_role("button", name="Record it").click()
    expect(page.get_by_role("status")).to_contain_text("Recorded. It counts from")
    assert Entry.objects.get(kind="policy_set").facts["reason"] == "safety manual 4.2"
    assert_accessible(page)
    assert_fits(page)


def test_the_admin_site_shows_rows_and_logs_no_blocked_script(page, sign_in, live_server, staffed):
    sign_in(page, "pim")
    for address in ("/admin/", "/admin/gear/entry/", "/admin/gear/user/"):
        page.goto(live_server.url + address)
        expect(page.get_by_role("heading", level=1).first).to_be_visible()
    page.locator("#result_list a").first.click()
    expect(page.get_by_role("button", name="Save")).to_have_count(0)
    expect(page.get_by_role("link", name="Delete")).to_have_count(0)
