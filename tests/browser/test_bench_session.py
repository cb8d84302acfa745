"""A bench day of 200 gloves by keyboard: traps caught at their rows, browser and server killed at row 137, posted."""

import random
import sys
import time
from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect

from inspections.models import BenchRow, BenchSession, ElectricalTest
from inspections.rules import bench_watch
from inspections.rules.bench_watch import Taken
from tests import builders
from tests.browser.conftest import DESK, QUIET, chromium
from tests.browser.serving import Server, kill_browser, let_in
from tests.inspections.bench_day import day

pytestmark = pytest.mark.django_db(transaction=True)
ROWS, KILLED_AT = 200, 137
SLOW = 30_000  # ms
CLIMB = ["11.6", "11.8", "11.9", "12.1", "12.2", "12.4", "12.5", "12.7", "12.8", "13.0"]
TRAPS = {
    20: "16.1",
    21: "16.0",
    40: "0.0",
    **dict.fromkeys(range(60, 65), "12.5"),
    **dict(enumerate(CLIMB, start=80)),
}
OUTCOMES = {20: "failed", 40: "void", 110: "void"}


def readings() -> dict[int, str]:
    """What the meter shows, row by row: sound gloves of one class and length, and the traps."""
    chance = random.Random(2026)
    shown = {row: f"{chance.gauss(12.2, 0.4):.1f}" for row in range(1, ROWS + 1)}
    return {**shown, **TRAPS}


def drifting(upto: int) -> bool:
    taken = [
        Taken(row, ("glove", "2", "360"), Decimal(value))
        for row, value in readings().items()
        if row <= upto and row != 110 and value != "0.0"
    ]
    return bool(bench_watch.drifts(taken))


@pytest.fixture
def server(tmp_path, transactional_db):
    started = Server(tmp_path)
    yield started
    started.kill()


@pytest.fixture
def clerk(playwright, server, tmp_path, cast):
    """Opens the session in a browser with a profile on disk, signed in as Orla."""
    let_in(cast.orla)
    let_in(cast.bertrand)
    profile, opened = tmp_path / "profile", []

    def opener(number: str) -> Page:
        context = playwright.chromium.launch_persistent_context(
            str(profile), executable_path=chromium(), args=QUIET, viewport=DESK
        )
        opened.append(context)
        context.set_default_timeout(SLOW)
        page = context.new_page()
        page.goto(f"{server.url}/bench/{number}/")
        if "/login/" in page.url:
            page.get_by_label("Name").fill("orla")
            page.get_by_label("Password").fill("orla keeps a secret")
            page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(f"{server.url}/bench/{number}/")  # loaded: before, its script does not hear a key
        expect(page.locator("#scan")).to_be_focused()
        return page

    opener.kill = lambda: kill_browser(profile)
    yield opener
    kill_browser(profile)


def log(page: Page, item_no: str, keys: str) -> None:
    """Scan, reading, Enter, and the verdict of that glove is there."""
    page.keyboard.type(item_no)
    page.keyboard.press("Enter")
    page.keyboard.type(keys)
    page.keyboard.press("Enter")
    page.wait_for_selector(f'#verdict [data-item="{item_no}"]')


def test_a_bench_day_of_200_gloves(server, clerk, cast, capsys):
    gloves = [glove.item_no for _pair in range(ROWS // 2 + 1) for glove in builders.pair()]
    builders.tested(*builders.Item.objects.order_by("pk"))
    forgotten = gloves.pop(ROWS - 1), gloves.pop()  # the rights of the last two pairs
    session = day(cast.orla)
    shown, spent = readings(), []
    server.start()
    page = clerk(session.number)

    def enter(row: int) -> None:
        began = time.perf_counter()
        if row == 110:
            log(page, gloves[row - 1], "F")
        elif row == 100:
            differing_voltage(page, gloves[row - 1], shown[row])
        else:
            log(page, gloves[row - 1], shown[row])
        spent.append(time.perf_counter() - began)

    for row in range(1, KILLED_AT):
        enter(row)
        tone = OUTCOMES.get(row, "doubt" if row == 64 else "accepted")
        expect(page.locator(f"#verdict .{tone}")).to_be_visible()
        if row == 64:
            stop_and_go_on(page)
        if row in (79, 89):
            assert page.locator(".bench-drift").count() == int(drifting(row)) == int(row == 89)
        if row == 119:
            same_glove_again(page, gloves[row - 1])

    # The power goes while row 137 is typed: the row waits on disk, nothing that was acknowledged is lost
    server.kill()
    page.keyboard.type(gloves[KILLED_AT - 1])
    page.keyboard.press("Enter")
    page.keyboard.type(shown[KILLED_AT])
    expect(page.locator("#panel .warning")).to_contain_text("No connection")
    page.keyboard.press("Enter")
    expect(page.locator("#waiting")).to_contain_text(gloves[KILLED_AT - 1])
    clerk.kill()
    assert BenchRow.objects.count() == KILLED_AT - 1
    server.start()
    page = clerk(session.number)
    expect(page.locator(f'#verdict [data-item="{gloves[KILLED_AT - 1]}"]')).to_be_visible()
    assert BenchRow.objects.count() == KILLED_AT
    for row in range(KILLED_AT + 1, ROWS + 1):
        enter(row)

    rows = list(BenchRow.objects.order_by("position").select_related("item"))
    assert [row.item.item_no for row in rows] == gloves[:ROWS]
    assert {row.position: str(row.leakage_ma) for row in rows if row.leakage_ma is not None} == {
        row: f"{Decimal(value):.3f}" for row, value in shown.items() if row != 110
    }
    confirm(page, "bertrand")
    page.click("#to-post")
    for right in forgotten:
        expect(page.get_by_role("link", name=right)).to_be_visible()
    page.get_by_label("How many rows are posted?").fill("200")
    page.get_by_role("button", name="Post them as one act").press("Enter")
    expect(page.get_by_text("Posted by orla")).to_be_visible()
    assert BenchSession.objects.get().state == "posted"
    posted = ElectricalTest.objects.filter(session=session)
    assert {one: posted.filter(outcome=one).count() for one in ("accepted", "failed", "void")} == {
        "accepted": 197, "failed": 1, "void": 2,
    }  # fmt: skip
    spent.sort()
    median, slowest = spent[len(spent) // 2], spent[-1]
    with capsys.disabled():
        sys.stdout.write(f"\nseconds a glove: median {median:.2f}, slowest {slowest:.2f}\n")


def stop_and_go_on(page: Page) -> None:
    """Five equal readings take the focus away from the scan; Esc leaves them in doubt."""
    expect(page.locator(".bench-run")).to_be_focused()
    expect(page.locator(".bench-run")).to_contain_text("5 equal readings in a row: 12.5 in rows 60 to 64.")
    page.keyboard.press("Escape")
    expect(page.locator("#scan")).to_be_focused()


def differing_voltage(page: Page, item_no: str, reading: str) -> None:
    """Another voltage needs a reason before the row goes anywhere."""
    page.keyboard.type(item_no)
    page.keyboard.press("Enter")
    page.keyboard.type(f"{reading}K22")
    page.keyboard.press("Enter")
    expect(page.locator("#id_why")).to_be_focused()
    page.keyboard.type("the regulator sticks")
    page.keyboard.press("Enter")
    page.wait_for_selector(f'#verdict [data-item="{item_no}"]')


def same_glove_again(page: Page, item_no: str) -> None:
    page.keyboard.type(item_no)
    page.keyboard.press("Enter")
    expect(page.locator("#panel")).to_contain_text("In this session already, row 119")
    page.keyboard.press("Escape")
    expect(page.locator("#scan")).to_be_focused()


def confirm(page: Page, name: str) -> None:
    page.locator(".bench-run select").select_option(label=name)
    page.locator(".bench-run input[type=password]").fill(f"{name} keeps a secret")
    page.get_by_role("button", name="Confirm these readings").click()
    expect(page.locator(".bench-run")).to_have_count(0)
