"""At the truck, with gloves on: a check in two taps, damage and events in three, also without a network."""

import pytest
from playwright.sync_api import Page, expect

from gear import queries
from gear.models import Entry, Photo
from tests import builders
from tests.browser.conftest import PHONE, assert_accessible, assert_fits
from tests.inspections.fielding import phone_of
from tests.inspections.phones import picture

pytestmark = pytest.mark.django_db(transaction=True)
SMALLEST = 55  # CSS pixels: 15 mm at 96 to the inch, less the rounding of the screen


@pytest.fixture
def gear(cast):
    """Dev's pair and a blanket on his truck, and an equal pair in the crew's cage; all good."""
    dev = builders.holder("person", "dev", person=cast.dev, crew=cast.crew)
    truck = builders.holder("truck", "T-07", crew=cast.crew)
    pair = builders.pair("S-dev", at=dev)
    spare = builders.pair("S-spare", at=builders.holder("crew", "Cage 7", crew=cast.crew))
    blanket = builders.blanket("B-1", at=truck)
    builders.tested(*pair, *spare, blanket)
    builders.issued(*pair, to=dev)
    builders.issued(*spare, to=builders.holder("crew", "Cage 7"))
    builders.issued(blanket, to=truck)
    return pair, blanket


def enrolled(page: Page, url: str, person) -> None:
    """The client on the phone of a person, with its shell kept and its data fetched."""
    cookies = phone_of(person).cookies
    page.context.add_cookies([{"name": one.key, "value": one.value, "url": url} for one in cookies.values()])
    page.goto(f"{url}/truck/#menu")
    expect(page.locator("html")).to_have_attribute("data-kept", "yes")
    assert run(page, "return await data.refresh();") == {"ok": True}


def run(page: Page, script: str, **values):
    """Run a script with the modules `data`, `queue`, `asking` and `store` at hand."""
    return page.evaluate(
        f"""async (values) => {{
          const at = document.documentElement.dataset.static;
          const [data, queue, asking, store] = await Promise.all(
            ['data', 'queue', 'ask', 'store'].map((name) => import(`${{at}}${{name}}.js`)));
          await data.ready;
          {script}
        }}""",
        values,
    )


def until(page: Page, script: str) -> None:
    """Ask until a script says true."""
    for _turn in range(600):
        if run(page, script):
            return
        page.wait_for_timeout(50)
    raise AssertionError(script)


LINKS = {"check": "Check before use", "damage": "Report damage", "event": "Something happened"}


def answered(page: Page, no: str) -> None:
    """The answer about a piece, as after a scan. From here on every tap is counted."""
    page.evaluate(f"location.hash = 'answer/{no}'")
    expect(page.get_by_role("heading", name=no)).to_be_visible()
    page.evaluate(
        """() => {
          globalThis.taps = 0;
          if (globalThis.counting) return;
          globalThis.counting = true;
          const count = (event) => { globalThis.taps += event.isTrusted && event.detail > 0 ? 1 : 0; };
          addEventListener('click', count, {capture: true});
        }"""
    )


def open_screen(page: Page, name: str, no: str) -> None:
    """A screen about a piece, by the link on its answer."""
    answered(page, no)
    page.get_by_role("link", name=LINKS[name]).click()
    expect(page.locator('[data-part="piece"]')).to_contain_text(no)


def taps(page: Page) -> int:
    return page.evaluate("() => globalThis.taps")


def looked_at(page: Page) -> None:
    """It fits the phone, can be used by everybody, and has targets for gloved hands."""
    assert_fits(page)
    assert_accessible(page)
    small = page.evaluate(
        """(least) => [...document.querySelectorAll('#screen :is(button, a.button, label:has([type=radio]))')]
          .filter((one) => one.checkVisibility()).filter((one) => one.getBoundingClientRect().height < least)
          .map((one) => one.textContent.trim())""",
        SMALLEST,
    )
    assert small == []


def test_damage_takes_three_taps(open_page, live_server, cast, gear):
    page = open_page(viewport=PHONE)
    enrolled(page, live_server.url, cast.dev)
    open_screen(page, "damage", "B-1")
    page.get_by_role("button", name="Cut Ends it", exact=True).click()
    page.locator('.part[data-part="square_5"]').click()
    expect(page.get_by_role("heading", name="Recorded")).to_be_visible()
    assert taps(page) == 3


@pytest.mark.both_databases
def test_a_shift_without_a_network(open_page, live_server, sign_in, cast, gear, settings, tmp_path):
    """Checked, cut, dropped; photographed; the page loaded again; and with the network back all is there once."""
    settings.MEDIA_ROOT = tmp_path / "media"
    (left, right), blanket = gear
    page = open_page(viewport=PHONE)
    enrolled(page, live_server.url, cast.dev)
    page.context.set_offline(True)

    # Two taps from the answer: the link to the checklist, and one button.
    open_screen(page, "check", left.item_no)
    expect(page.locator(".lines li").first).to_contain_text("Air test")
    assert page.locator(".lines li").count() == 6
    looked_at(page)
    page.get_by_role("button", name="All as it should be").click()
    expect(page.locator(".happened")).to_contain_text(f"{left.item_no} and {right.item_no} were checked")
    assert taps(page) == 2

    # Three taps: the link, the word, the place. Note and photo ride along and need none of them.
    open_screen(page, "damage", left.item_no)
    words = page.locator("button[data-word-code]")
    assert words.first.inner_text().split() == ["Cut", "Ends", "it"]
    looked_at(page)
    words.first.click()
    page.get_by_text("Add a photo or a note first").click()
    shot = {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": picture(size=(2400, 1800))}
    page.get_by_label("Photo, if you like").set_input_files(shot)
    expect(page.locator('[data-part="photo-said"]')).to_contain_text("1 photo(s) will go with it")
    page.get_by_label("Note, if you like").fill("at the weld")
    page.get_by_label("inside").check()
    looked_at(page)
    page.get_by_role("button", name="7 palm").click()
    expect(page.locator("#screen")).to_contain_text("STOP. DO NOT USE")
    expect(page.locator(".offers li").first).to_contain_text("S-spare")
    expect(page.locator(".offers li").first).to_contain_text("On this truck or with your crew")
    expect(page.locator('[data-part="photo-said"]')).to_contain_text("1 photo(s) wait on this device")
    looked_at(page)

    # Three taps: the link, what happened, done.
    open_screen(page, "event", "B-1")
    looked_at(page)
    page.get_by_role("button", name="Dropped").click()
    expect(page.locator(".happened")).to_contain_text("needs a test before use")
    looked_at(page)
    page.get_by_role("button", name="Done").click()
    expect(page.get_by_role("heading", name="Recorded")).to_be_visible()
    assert taps(page) == 3

    # What was reported here is stop here, and so is what belongs to it, whatever the data says.
    page.reload()
    expect(page.locator("#screen")).to_have_attribute("data-screen", "event")
    for no in (left.item_no, right.item_no, "B-1"):
        verdict = "return (await asking.ask(values.no, {onAnswer() {}})).verdict;"
        assert run(page, verdict, no=no) == "stop"
    # Nothing is accepted that was reported.
    open_screen(page, "check", left.item_no)
    expect(page.get_by_text("a check cannot clear it")).to_be_visible()
    expect(page.get_by_role("button", name="All as it should be")).to_be_hidden()

    # Where another record has taken its id, it is sent again under a new one, and its photo goes along.
    taken = "const row = (await queue.list()).find((one) => one.record.kind === 'damage');"
    taken += (
        "await store.put('queue', {...row, state: 'refused', code: 'IdReused'}); await queue.again(row.id);"
    )
    run(page, taken)

    kept = run(page, "return (await queue.list()).map((row) => row.record);")
    times = {one["id"]: one["occurred_at"] for one in kept}
    page.context.set_offline(False)
    gone = "const left = await Promise.all(['queue', 'photos'].map((name) => store.all(name)));"
    gone += "queue.send(); return left.flat().length === 0;"
    until(page, gone)

    by_kind = {one["kind"]: one for one in kept if one["kind"] != "answered"}
    assert set(by_kind) == {"checked", "damage", "event"}
    for one in by_kind.values():
        entry = Entry.objects.get(pk=one["id"])
        assert (entry.by.username, entry.via) == ("dev", "field")
        assert entry.occurred_at == queries.questions.moment_in("occurred_at", times[one["id"]])
    look = Entry.objects.get(pk=by_kind["damage"]["id"])
    assert (look.facts["words"], look.facts["place"]) == (["cut"], "inside:palm")
    assert look.facts["note"] == "at the weld"
    assert look.facts["told"]["verdict"] == "good"
    assert (
        Entry.objects.filter(kind="inspected", facts__outcome="accept").count() == 2
    )  # both hands, once each
    photo = Photo.objects.get()
    assert (photo.entry_id, photo.width, photo.height) == (look.pk, 1600, 1200)

    # Another device has it at once.
    answers = queries.answers([left.item_no, right.item_no, "B-1"], queries.question())
    assert [one.verdict for one in answers] == ["stop", "stop", "stop"]
    other = open_page(viewport=PHONE)
    sign_in(other, "marisol")
    other.goto(f"{live_server.url}/items/{left.item_no}/")
    expect(other.locator(".verdict")).to_contain_text("STOP")
    expect(other.locator(".photos img")).to_have_count(1)
    assert_accessible(other)
