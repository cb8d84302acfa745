"""The phone without a network, with a wrong clock, edited storage, half answers and another person's records."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from gear.actions import condition
from gear.actions.acting import Act
from gear.models import Entry, GivenAnswer, Refusal
from gear.queries.stale_uses import open_stale_uses
from tests.browser.conftest import PHONE, assert_accessible, assert_fits
from tests.browser.trucking import CLOCK, asked, emptied, enrolled, run, waiting
from tests.inspections.fielding import good_pair, truck

pytestmark = pytest.mark.django_db(transaction=True)

HOUR = 3_600_000
CHECKED = "await queue.add('checked', {item: values.no, told: values.told ?? null});"


@pytest.fixture
def glove(cast):
    return good_pair(truck(), tested_on=timezone.localdate() - timedelta(days=30))[0]


@pytest.fixture
def phone(open_page, sign_in, live_server, glove):
    page = open_page(viewport=PHONE)
    sign_in(page, "dev")
    enrolled(page, live_server.url)
    return page


@pytest.mark.both_databases
def test_a_day_without_a_network_is_recorded_once_with_its_true_times(phone, glove, cast, live_server):
    no = glove.item_no
    assert asked(phone, no) == [["server", "good", "", False]]
    emptied(phone)
    phone.context.set_offline(True)
    assert asked(phone, no) == [["phone", "good", "", False]]
    assert asked(phone, "G-NOWHERE") == [["phone", "unknown", "NOT_IN_DATA", False]]
    before = timezone.now()
    told = {"verdict": "good", "as_of_ms": 1, "data_age_s": 1, "source": "phone"}
    run(phone, CHECKED, no=no, told=told)
    after = timezone.now()
    phone.reload()
    assert asked(phone, no) == [["phone", "good", "", False]]
    kinds = [kind for kind, state, _code in waiting(phone) if state == "waiting"]
    assert kinds == ["answered", "answered", "checked", "answered"]
    assert not Entry.objects.filter(via="field", kind="inspected").exists()
    phone.evaluate("location.hash = 'unsent'")
    expect(phone.locator("[data-part=state]")).to_contain_text("4 not sent")
    assert_accessible(phone)
    assert_fits(phone)
    # Meanwhile somebody else found a cut, an hour before.
    condition.reject(glove, reason="cut", act=Act(cast.marisol, occurred_at=before - timedelta(hours=1)))
    phone.context.set_offline(False)
    expect(phone.locator("[data-part=state]")).to_have_text("Everything is sent.")
    entry = Entry.objects.get(via="field", kind="inspected")
    assert before - timedelta(seconds=1) <= entry.occurred_at <= after + timedelta(seconds=1)
    assert GivenAnswer.objects.count() == 4
    assert {one.verdict for one in GivenAnswer.objects.filter(item=glove)} == {"good"}
    assert [one.item for one in open_stale_uses(timezone.now())] == [glove]

    # The server is slow: the phone shows what it has, and what the server says then counts.
    def late(route):
        answer = route.fetch()
        phone.wait_for_function("() => globalThis.shownEarly", timeout=10_000)
        route.fulfill(response=answer)

    phone.context.route("**/truck/answer/**", late)
    told = run(
        phone,
        """globalThis.shownEarly = false; const shown = [];
        await asking.ask(values.no, {onAnswer: (one) => {
          globalThis.shownEarly = true;
          shown.push([one.source, one.verdict, one.worse]);
        }});
        return shown;""",
        no=no,
    )
    assert told == [["phone", "good", False], ["server", "stop", True]]


def test_edited_storage_and_a_wrong_clock_never_make_good(open_page, sign_in, live_server, glove):
    page = open_page(viewport=PHONE, timezone_id="Asia/Tokyo")
    page.context.add_init_script(f"({CLOCK})()")
    sign_in(page, "dev")
    enrolled(page, live_server.url)
    no = glove.item_no
    page.context.set_offline(True)
    assert asked(page, no) == [["phone", "good", "", False]], "another zone of the phone changes nothing"

    def with_clock(hours: float) -> list:
        page.evaluate("(skew) => { globalThis.skew = skew; sessionStorage.skew = skew; }", hours * HOUR)
        return asked(page, no)[0][1:3]

    assert with_clock(-72) == ["unknown", "CLOCK_BACK"]
    assert with_clock(0) == ["good", ""]
    assert with_clock(13) == ["unknown", "DATA_OLD"]
    assert with_clock(0) == ["unknown", "CLOCK_BACK"], "what was seen stays seen"
    page.reload()
    assert with_clock(0) == ["unknown", "CLOCK_BACK"], "after a restart too"
    page.context.set_offline(False)
    assert run(page, "return data.refresh();") == {"ok": True}
    page.context.set_offline(True)
    assert with_clock(0) == ["good", ""], "the server, asked anew, puts it right"

    wrong = run(
        page,
        """const held = await store.kept('bundle'); const found = [];
        for (let at = 0; at < held.text.length; at += Math.ceil(held.text.length / 150)) {
          const other = held.text[at] === '1' ? '2' : '1';
          const text = held.text.slice(0, at) + other + held.text.slice(at + 1);
          if (await signed.verify(text, held.signature)) found.push(at);
        }
        for (let at = 0; at < held.signature.length - 2; at += 1) {
          const other = held.signature[at] === 'A' ? 'g' : 'A';
          const signature = held.signature.slice(0, at) + other + held.signature.slice(at + 1);
          if (await signed.verify(held.text, signature)) found.push(signature);
        }
        return [found, await signed.verify(held.text, held.signature)];""",
    )
    assert wrong == [[], True]
    run(
        page,
        """const held = await store.kept('bundle');
        await store.keep('bundle', {...held, text: held.text.replace('"verdict":"good"', '"verdict":"Good"')});""",
    )
    page.reload()
    assert with_clock(0) == ["unknown", "BAD_DATA"]
    assert "not what the server signed" in page.locator("template.words").last.evaluate(
        "() => [...document.querySelectorAll('template.words')].map((one) => one.content.textContent).join()"
    )


def test_what_is_no_answer_of_this_server_is_none(phone, glove, live_server):
    no, body = glove.item_no, {}
    phone.context.route("**/truck/bundle/**", lambda route: route.fulfill(**body))
    issued = run(phone, "return data.meta().issued_ms;")
    whole = run(
        phone,
        """const held = await store.kept('bundle');
        return JSON.stringify({text: held.text, signature: held.signature});""",
    )
    html = {"content_type": "text/html", "body": "<h1>Sign in to this network</h1>"}
    json = "application/json"
    nothing = [
        html,
        {"content_type": json, "body": html["body"]},
        {"content_type": json, "body": whole},  # signed and ours, but to an older question
        {"content_type": json, "body": "[" * 50_000},
        {"content_type": json, "body": "null"},
        {"content_type": json, "status": 503, "body": whole},
        {"status": 410, **html},
        *(
            {"content_type": json, "body": whole[:cut]}
            for cut in range(0, len(whole), max(50, len(whole) // 25))
        ),
    ]
    for one in nothing:
        body.clear()
        body.update(one)
        assert run(phone, "return data.refresh();")["ok"] is False, one
        assert run(phone, "return data.meta().issued_ms;") == issued
    # The same for a single answer: without one, what the phone holds is shown, and what it does not hold is unknown.
    phone.context.route("**/truck/answer/**", lambda route: route.fulfill(**body))
    for one in (html, {"content_type": json, "body": whole}, {"content_type": json, "body": whole[:900]}):
        body.clear()
        body.update(one)
        assert asked(phone, "G-NOWHERE") == [["phone", "unknown", "NOT_IN_DATA", False]]
        assert asked(phone, no) == [["phone", "good", "", False]]
    emptied(phone)
    # Another installation's data, and no key at all.
    phone.evaluate("document.documentElement.dataset.installation = 'https://elsewhere.example 0'")
    phone.context.unroute("**/truck/bundle/**")
    assert run(phone, "return data.refresh();")["ok"] is False


@pytest.mark.both_databases
def test_the_queue_keeps_what_is_not_acknowledged_and_sends_each_once(
    phone, glove, cast, live_server, sign_in
):
    no = glove.item_no
    bodies = [
        {"status": 200, "content_type": "text/html", "body": "<h1>Sign in to this network</h1>"},
        {"status": 503, "content_type": "text/html", "body": ""},
        {"status": 429, "content_type": "application/json", "body": "{}", "headers": {"Retry-After": "1"}},
        {"status": 200, "content_type": "application/json", "body": '{"nonce": "another", "results": []}'},
    ]
    body: dict = {}
    phone.context.route("**/truck/sync/", lambda route: route.fulfill(**body))
    body.update(bodies[0])
    run(phone, CHECKED, no=no)
    for one in bodies:
        body.clear()
        body.update(one)
        run(phone, "await queue.send();")
        assert waiting(phone) == [["checked", "waiting", ""]]
    assert run(phone, "return queue.waitsFor();") == "NO_ANSWER"
    phone.context.unroute("**/truck/sync/")

    # It arrives, but the answer is cut: it is sent again, and counts once.
    def cut(route):
        answer = route.fetch()
        route.fulfill(status=200, content_type="application/json", body=answer.text()[:40])

    phone.context.route("**/truck/sync/", cut)
    run(phone, "await queue.send();")
    assert waiting(phone) == [["checked", "waiting", ""]]
    phone.context.unroute("**/truck/sync/")
    emptied(phone)
    assert Entry.objects.filter(via="field", kind="inspected").count() == 1

    # One that cannot be read holds up nothing, stays on the list with its reason, and can be let go.
    run(
        phone,
        """await queue.add('checked', {item: 'G-NOWHERE'});
        await queue.add('checked', {item: values.no});
        await queue.send();
        while ((await queue.list()).some((row) => row.state === 'waiting')) await queue.send();""",
        no=no,
    )
    assert waiting(phone) == [["checked", "refused", "BAD_RECORD"]]
    assert Entry.objects.filter(via="field", kind="inspected").count() == 2
    assert "G-NOWHERE" in Refusal.objects.get(act="field_record").detail
    phone.evaluate("location.hash = 'unsent'")
    expect(phone.get_by_text("There is no such item in the book.")).to_be_visible()
    assert_accessible(phone)
    assert_fits(phone)
    phone.get_by_label("Or let it go. Why?").fill("typed the wrong number")
    phone.get_by_role("button", name="Let it go").click()
    expect(phone.locator("[data-part=state]")).to_have_text("Everything is sent.")
    assert Refusal.objects.filter(code="DISMISSED").count() == 1

    # Marisol signs in on Dev's phone: what he recorded waits for him, and she gets none of his data.
    phone.context.set_offline(True)
    run(phone, CHECKED, no=no)
    phone.context.clear_cookies(name="sessionid")
    phone.context.clear_cookies(name="session")
    phone.context.set_offline(False)
    sign_in(phone, "marisol")
    phone.goto(f"{live_server.url}/truck/#unsent")
    expect(phone.locator("[data-part=state]")).to_contain_text("1 not sent")
    run(phone, "await queue.send();")
    run(phone, "await who.ask(); await data.refresh();")  # the phone is hers now, with what she may hold
    assert run(phone, "await queue.send(); return data.meta().person;") == "marisol"
    assert waiting(phone) == [["checked", "waiting", ""]]
    expect(phone.locator("[data-part=state]")).to_contain_text("Sign in as dev to send 1.")
    assert not Entry.objects.filter(by=cast.marisol, kind="inspected").exists()
