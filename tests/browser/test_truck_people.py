"""Who records what: a shared tablet with two people, without a network, locked, and revoked; and an own phone."""

import pytest
from django.contrib.auth.hashers import make_password
from playwright.sync_api import expect

from gear.actions.acting import Act
from gear.models import Entry, ItemState, User
from inspections.actions import devices
from inspections.models import Device
from tests import builders
from tests.browser.conftest import PHONE, assert_accessible, assert_fits
from tests.inspections import fielding

pytestmark = pytest.mark.django_db(transaction=True)
SLOW = 30_000  # ms: a busy machine


@pytest.fixture
def yard(cast):
    for name, pin in (("dev", "2580"), ("marisol", "97531")):
        User.objects.filter(username=name).update(pin=make_password(pin))
    cast.hand = builders.holder("person", "Dev", person=cast.dev, crew=cast.crew, depot=cast.depot)
    cast.t9 = builders.holder("truck", "T-9", crew=None, depot=cast.depot)
    cast.pair = fielding.good_pair(cast.hand, tested_on=builders.today())
    cast.tablet, cast.code = devices.add_shared("Tablet 1", depot=cast.depot, act=Act(cast.orla))
    return cast


def ready(page):
    expect(page.locator("html")).to_have_attribute("data-kept", "yes", timeout=SLOW)


def press(page, pin):
    dialog = page.get_by_role("dialog")
    for digit in pin:
        dialog.get_by_role("button", name=digit, exact=True).click()
    dialog.get_by_role("button", name="Enter").click()


def fetch_data(page):
    page.evaluate(
        "async () => { const data = await import(document.documentElement.dataset.static + 'data.js'); "
        "const told = await data.refresh(); if (!told.ok) throw new Error(JSON.stringify(told)); }"
    )


def queued(page, *, whole=False):
    """What waits on the disk of the device: (kind, person, why it was refused) of each record, or all of it."""
    rows = page.evaluate(
        "async () => (await import(document.documentElement.dataset.static + 'store.js')).all('queue')"
    )
    return rows if whole else [(row["record"]["kind"], row["record"]["person"], row["code"]) for row in rows]


def all_sent(page):
    """Waits on the screen of the device until nothing is left to send."""
    page.evaluate("location.hash = '#device'")
    expect(page.locator("[data-unsent]")).to_have_text("0", timeout=SLOW)


def place(item):
    return ItemState.objects.get(item=item).holder.name


@pytest.mark.both_databases
def test_a_shared_tablet_from_its_code_to_its_end(live_server, open_page, yard):
    page = open_page(viewport=PHONE)
    page.clock.install()
    page.goto(f"{live_server.url}/truck/#device/{yard.code}")
    page.get_by_role("button", name="Enrol this tablet").click()
    expect(page.get_by_text("Shared tablet of Harbour depot")).to_be_visible(timeout=SLOW)
    fetch_data(page)
    left, right = yard.pair

    # a wrong PIN, then the right one
    page.goto(f"{live_server.url}/truck/#lend/{left.item_no}")
    page.get_by_role("button", name="T-9").click()
    dialog = page.get_by_role("dialog")
    dialog.get_by_label("First letters").fill("de")
    assert_accessible(page)
    dialog.get_by_role("button", name="dev", exact=True).click()
    press(page, "1593")
    expect(dialog.get_by_text("do not match")).to_be_visible(timeout=SLOW)
    assert_accessible(page)
    assert_fits(page)
    press(page, "2580")
    expect(page.get_by_text(f"Recorded: {left.item_no} goes to T-9.")).to_be_visible(timeout=SLOW)
    all_sent(page)
    assert (place(left), place(right)) == ("T-9", "T-9")
    assert {entry.by for entry in Entry.objects.filter(kind="moved")} == {yard.dev}

    # it locks by itself
    page.goto(f"{live_server.url}/truck/#who")
    expect(page.get_by_text("dev is confirmed on this tablet.")).to_be_visible()
    page.clock.fast_forward("03:01")
    expect(page.get_by_text("Nobody is confirmed on this tablet.")).to_be_visible()

    # without a network, the next person
    builders.holder("truck", "T-10", crew=None, depot=yard.depot)
    fetch_data(page)
    page.context.set_offline(True)
    page.goto(f"{live_server.url}/truck/#lend/{left.item_no}")
    page.get_by_role("button", name="T-10").click()
    page.get_by_role("dialog").get_by_role("button", name="marisol", exact=True).click()
    press(page, "97531")
    expect(page.get_by_text("goes to T-10")).to_be_visible(timeout=SLOW)
    assert queued(page) == [("moved", "marisol", "")]
    assert "97531" not in str(queued(page, whole=True))
    page.context.set_offline(False)
    page.evaluate("dispatchEvent(new Event('online'))")
    all_sent(page)
    loans = Entry.objects.filter(kind="moved", item=left).order_by("position")
    assert [entry.by for entry in loans] == [yard.dev, yard.marisol]

    # lost
    devices.revoke(Device.objects.get(name="Tablet 1"), act=Act(yard.ines))
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.get_by_role("heading", name="This device was revoked")).to_be_visible(timeout=SLOW)
    expect(page.locator("html")).to_have_attribute("data-revoked", "done")
    assert page.evaluate(
        "async () => [(await caches.keys()).length, (await indexedDB.databases()).length]"
    ) == [0, 0]
    assert page.evaluate("async () => (await navigator.serviceWorker.getRegistrations()).length") == 0
    assert_accessible(page)


def test_an_own_phone_shows_what_its_person_holds(live_server, open_page, sign_in, yard):
    page = open_page(viewport=PHONE)
    sign_in(page, "dev")
    page.goto(f"{live_server.url}/truck/#device")
    expect(page.get_by_text("A person's own phone")).to_be_visible(timeout=SLOW)
    assert Device.objects.get(kind="own").person == yard.dev
    fetch_data(page)
    page.goto(f"{live_server.url}/truck/#mine")
    for item in yard.pair:
        expect(page.get_by_role("link", name=item.item_no)).to_be_visible(timeout=SLOW)
    assert_accessible(page)
    assert_fits(page)
    page.goto(f"{live_server.url}/my/gear/")
    assert_accessible(page)
    assert_fits(page)


def test_a_person_chooses_what_their_phone_holds_and_signs_out(live_server, open_page, sign_in, yard):
    t7 = builders.holder("truck", "T-7", crew=yard.crew, depot=yard.depot)
    aboard = fielding.good_pair(t7, tested_on=builders.today())
    page = open_page(viewport=PHONE)
    sign_in(page, "marisol")  # who has no gear of her own
    page.goto(f"{live_server.url}/truck/#device")
    ready(page)
    expect(page.get_by_text("My crew: Crew 7: 4 pieces")).to_be_visible(timeout=SLOW)
    assert_accessible(page)
    assert_fits(page)
    page.get_by_label("What this device holds").select_option(label="Truck T-7")
    page.get_by_role("button", name="Fetch now").click()
    expect(page.get_by_text("Truck T-7: 2 pieces")).to_be_visible(timeout=SLOW)
    page.goto(f"{live_server.url}/truck/#mine")
    for item in aboard:
        expect(page.locator("[data-truck-rows]").get_by_role("link", name=item.item_no)).to_be_visible()

    # what is not sent is named before anybody signs out, here and on the ordinary pages
    page.context.set_offline(True)
    page.goto(f"{live_server.url}/truck/#lend/{aboard[0].item_no}")
    page.get_by_role("button", name="T-9").click()
    expect(page.get_by_text("goes to T-9")).to_be_visible(timeout=SLOW)
    page.evaluate("location.hash = '#device'")
    page.get_by_role("button", name="Sign out").click()
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_text("Records that are not sent: 1")).to_be_visible(timeout=SLOW)
    assert_accessible(page)
    dialog.get_by_role("button", name="Leave it").click()
    page.context.set_offline(False)
    page.evaluate("dispatchEvent(new Event('online'))")
    all_sent(page)
    assert place(aboard[0]) == "T-9"
    page.get_by_role("button", name="Sign out").click()
    dialog.get_by_role("button", name="Sign out").click()
    expect(page.locator("#screen").get_by_role("link", name="Sign in")).to_be_visible(timeout=SLOW)


def test_a_badge_before_the_camera_names_its_person_and_a_wiped_tablet_is_empty(
    live_server, camera_page, yard
):
    User.objects.filter(username="dev").update(badge="B-2C4T9KXFPW7")
    page = camera_page("B-2C4T9KXFPW7")
    page.goto(f"{live_server.url}/truck/#device/{yard.code}")
    ready(page)
    page.get_by_role("button", name="Enrol this tablet").click()
    expect(page.get_by_text("Everything of Harbour depot: 2 pieces")).to_be_visible(timeout=SLOW)
    page.context.set_offline(True)
    page.goto(f"{live_server.url}/truck/#lend/{yard.pair[0].item_no}")
    page.get_by_role("button", name="T-9").click()
    page.get_by_role("button", name="Read my badge with the camera").click()
    expect(page.get_by_role("dialog").get_by_role("heading", name="dev")).to_be_visible(timeout=SLOW)
    press(page, "2580")
    expect(page.get_by_text("goes to T-9")).to_be_visible(timeout=SLOW)
    page.evaluate("location.hash = '#device'")
    page.get_by_role("button", name="Wipe this device").click()
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_text("will be lost for ever: 1")).to_be_visible(timeout=SLOW)
    assert_accessible(page)
    with page.expect_download() as saved:
        dialog.get_by_role("link", name="Save to a file").click()
    assert yard.pair[0].item_no in saved.value.path().read_text()
    dialog.get_by_role("button", name="Wipe it").click()
    expect(dialog).to_be_visible()  # not before the box is ticked
    dialog.get_by_role("checkbox").check()
    dialog.get_by_role("button", name="Wipe it").click()
    expect(page.get_by_text("Records that were never sent: 1")).to_be_visible(timeout=SLOW)
    assert page.evaluate("async () => (await indexedDB.databases()).length") == 0
