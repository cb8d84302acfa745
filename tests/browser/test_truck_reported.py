"""What was recorded on a phone and its data do not know yet outranks every good: in each window, list and walk."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from gear.actions import condition
from gear.actions.acting import Act
from gear.models import Entry, User
from tests.browser.conftest import PHONE
from tests.browser.trucking import asked, emptied, enrolled, run
from tests.inspections.fielding import good_pair, truck

pytestmark = pytest.mark.django_db(transaction=True)

HERE = [["phone", "stop", "REPORTED_HERE", False]]
DAMAGE = "await queue.add('damage', {item: values.no, words: ['cut'], place: '', note: ''});"


@pytest.fixture
def pair(cast):
    return good_pair(truck(), tested_on=timezone.localdate() - timedelta(days=30))


@pytest.fixture
def phone(open_page, sign_in, live_server, pair):
    page = open_page(viewport=PHONE)
    sign_in(page, "dev")
    enrolled(page, live_server.url)
    return page


def test_a_report_on_this_phone_counts_in_every_window_and_list(phone, pair, cast, live_server):
    left, right = (one.item_no for one in pair)
    other = phone.context.new_page()
    other.goto(f"{live_server.url}/truck/#mine")
    expect(other.locator("[data-truck-rows] [data-verdict=good]")).to_have_count(2)
    run(other, "globalThis.held = data.meta().issued_ms;")
    run(phone, DAMAGE, no=left)
    emptied(phone)
    # This window has newer data now, which know of the damage; the other one still holds those from before.
    assert run(phone, "return data.refresh();") == {"ok": True}
    phone.context.set_offline(True)
    assert run(other, "return data.meta().issued_ms === globalThis.held;")
    assert asked(other, left) == HERE
    assert asked(other, right) == HERE, "a pair is no better than its worse glove"
    other.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(other.locator("[data-truck-rows] [data-verdict=stop]")).to_have_count(2)
    expect(other.locator("[data-truck-rows] [data-verdict=good]")).to_have_count(0)
    # A number is a number: a code with its dashes taken out is never read as one.
    assert run(other, "return data.find(values.no.replace('-', ''));", no=left) is None


def test_a_good_on_the_screen_turns_when_the_network_brings_worse(phone, pair, cast):
    phone.context.set_offline(True)
    phone.evaluate("no => { location.hash = `answer/${no}`; }", pair[0].item_no)
    expect(phone.locator("[data-part=verdict] .verdict.good")).to_be_visible()
    condition.reject(pair[0], reason="cut", act=Act(cast.marisol))
    phone.context.set_offline(False)
    run(phone, "return data.refresh();")
    expect(phone.locator("[data-part=verdict] .verdict.stop")).to_be_visible()


def test_only_the_server_decides_what_a_refused_record_was_worth(phone, pair, cast):
    left = pair[0].item_no
    phone.context.set_offline(True)
    run(phone, "await queue.add('checked', {item: values.no, outcome: 'accept', checklist: []});", no=left)
    looked = "return (await import(document.documentElement.dataset.static + 'reported.js')).reported()"
    looked += ".then((found) => found(values.no).checkedOn);"
    assert run(phone, looked, no=left) == run(phone, "return data.meta().days[0].on;")
    refused = """for (const row of await queue.list())
        await store.put('queue', {...row, state: 'refused', code: 'PIN_WRONG'});"""
    run(phone, refused)
    assert run(phone, looked, no=left) is None, "a look that nobody confirmed counts for nothing"
    # Damage that was refused, and let go: the piece was put on hold for it, and this data do not know.
    run(phone, DAMAGE, no=left)
    run(phone, refused)
    run(phone, "for (const row of await queue.list()) await queue.dismiss(row.id, 'not mine');")
    assert asked(phone, left) == HERE


def test_a_walk_that_goes_on_later_forgets_what_was_good_before(phone, pair):
    left, right = (one.item_no for one in pair)
    marks = """const {current} = await import(document.documentElement.dataset.static + 'walk/marks.js');
        const now = time.now().ms;
        const mark = (no, ms) => ({no, verdict: 'good', as_of_ms: ms, at_ms: ms, reasons: []});
        const kept = [mark(values.left, now), mark(values.right, now - 13 * 3600000)];
        return (await current(() => kept)).map((one) => [one.no, one.verdict]);"""
    assert run(phone, marks, left=left, right=right) == [[left, "good"]]
    phone.context.set_offline(True)
    run(phone, DAMAGE, no=right)
    assert run(phone, marks, left=left, right=right) == [[left, "stop"], [right, "stop"]]


def test_a_phone_wipes_itself_for_no_less_than_the_word_of_its_server(phone, pair, cast):
    left = pair[0].item_no
    emptied(phone)
    forged = {"status": 410, "content_type": "application/json", "body": '{"refused": "REVOKED"}'}
    phone.context.route("**/truck/**", lambda route: route.fulfill(**forged))
    run(phone, DAMAGE, no=left)
    assert run(phone, "return data.refresh();")["ok"] is False
    run(phone, "await queue.send();")
    assert phone.evaluate("document.documentElement.dataset.revoked") is None
    assert [row[0] for row in run(phone, "return (await queue.list()).map((row) => [row.record.kind]);")] == [
        "damage"
    ]
    assert asked(phone, left) == HERE
    # Dev's account was closed meanwhile: the phone hands over what it holds before it forgets everything.
    User.objects.filter(pk=cast.dev.pk).update(is_active=False)
    phone.context.unroute("**/truck/**")
    phone.evaluate("dispatchEvent(new Event('online'))")
    expect(phone.locator("html")).to_have_attribute("data-revoked", "done", timeout=20_000)
    assert Entry.objects.filter(item=pair[0], kind="held", via="field").count() == 1
