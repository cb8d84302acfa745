"""Times of the phone client in a real browser whose processor and network are slowed down."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

# Common practice, no source: a mid-range phone beside a desktop processor, and the slowest of the usual presets.
CPU_SLOWER = 4
SLOW_3G = {"latency": 2_000, "downloadThroughput": 400_000 / 8, "uploadThroughput": 400_000 / 8}
HOW = (
    f"Processor of the page {CPU_SLOWER} times slower; slow 3G: 400 kbit/s each way, 2,000 ms round trip"
    " (common practice, no source). The disk is that of this machine."
)
ONLINE_GOAL, OFFLINE_GOAL = "< 2000", "< 300"
SLOW_SCANS = 8  # scans over a slow network: each waits for the one before it
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]

# The moments at which Enter was pressed and at which what was wanted stood on the screen, taken inside the page.
WATCH = """() => {
  addEventListener('keydown', (event) => { if (event.key === 'Enter') globalThis.began = performance.now(); }, true);
  globalThis.shown = (wanted) => new Promise((done) => {
    const look = () => {
      if (!document.querySelector(wanted)) return requestAnimationFrame(look);
      requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - globalThis.began)));
    };
    look();
  });
}"""
CAN_SCAN = """async () => {
  const data = await import(`${document.documentElement.dataset.static}data.js`);
  await data.ready;
  while (!data.meta() || !document.querySelector('#screen [data-part=form]')) {
    await new Promise((done) => setTimeout(done, 5));
  }
  return performance.now();
}"""
HOLD = """async ([depot, least]) => {
  const at = document.documentElement.dataset.static;
  const [data, store] = await Promise.all(['data', 'store'].map((name) => import(`${at}${name}.js`)));
  await store.keep('scope', { kind: 'depot', name: depot });
  const told = await data.refresh();
  return told.ok && data.rows().length >= least ? data.rows().length : JSON.stringify(told);
}"""
VERDICT = "#screen [data-part=verdict] .verdict"
BY_SERVER = "#screen[data-screen=answer] [data-part=acts] [data-server][hidden]"


class NotMeasured(RuntimeError):
    """There is no browser, or it could not be used. The message says why."""


@dataclass(frozen=True)
class Case:
    """Who signs in, whose depot's pieces the phone holds, codes of good pieces, a truck and the codes aboard."""

    username: str
    password: str
    depot: str
    codes: Sequence[str]
    truck: str
    aboard: Sequence[str]


@dataclass(frozen=True)
class Timed:
    """One line: what was timed, the goal in ms in words (or nothing), and what each time took in ms."""

    job: str
    goal: str
    ms: Sequence[float]


def timed(address: str, case: Case, *, rounds: int) -> Iterator[Timed]:
    """Each job of a phone as it is measured. Raises NotMeasured."""
    try:
        from playwright.sync_api import Error, sync_playwright
    except ImportError as error:
        raise NotMeasured(
            "playwright is not installed; it is one of the packages for development."
        ) from error
    chromium = found_chromium()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        try:
            yield from _timed(_phone(browser, address, case), address, case, rounds)
        except Error as error:
            raise NotMeasured(f"the browser stopped: {error.message.splitlines()[0]}") from error
        finally:
            browser.close()


def found_chromium() -> str:
    """Where Chromium is. Raises NotMeasured."""
    names = ("chromium-headless-shell", "chromium", "chromium-browser")
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, names)), None)
    if not found:
        raise NotMeasured("Chromium is not installed; CHROMIUM may name its place.")
    return found


def _phone(browser: Any, address: str, case: Case) -> Any:
    """A page of a phone that is signed in, enrolled, and holds its data and its shell; slowed down from here on."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, locale="en-US")
    context.set_default_timeout(120_000)
    context.add_init_script(f"({WATCH})()")
    page = context.new_page()
    page.goto(f"{address}/login/")
    page.locator("input[name=username]").fill(case.username)
    page.locator("input[name=password]").fill(case.password)
    page.locator("input[name=password]").press("Enter")
    page.wait_for_url(lambda url: "/login/" not in url)
    page.goto(f"{address}/truck/")
    page.locator("html[data-kept=yes]").wait_for(state="attached")
    page.wait_for_function("() => document.querySelector('#status [data-part=person]').textContent")
    held = page.evaluate(HOLD, [case.depot, len(case.codes)])
    if not isinstance(held, int):
        raise NotMeasured(f"the phone got no data: {held}")
    return page


def _timed(page: Any, address: str, case: Case, rounds: int) -> Iterator[Timed]:
    context, throttle = page.context, page.context.new_cdp_session(page)
    throttle.send("Emulation.setCPUThrottlingRate", {"rate": CPU_SLOWER})
    codes = iter(case.codes)
    once = [_scan(page, next(codes), BY_SERVER) for _ in range(rounds)]
    yield Timed("scan, the server's answer", ONLINE_GOAL, once)
    throttle.send("Network.enable")
    throttle.send("Network.emulateNetworkConditions", {"offline": False, **SLOW_3G})
    yield Timed(
        "scan over slow 3G, first answer",
        ONLINE_GOAL,
        [_scan(page, next(codes), VERDICT) for _ in range(min(rounds, SLOW_SCANS))],
    )
    yield Timed("a scan of the walk over slow 3G", "", _walk(page, address, case, case.aboard[:SLOW_SCANS]))
    throttle.detach()  # its network would outlast what follows
    context.set_offline(True)
    throttle = context.new_cdp_session(page)
    throttle.send("Emulation.setCPUThrottlingRate", {"rate": CPU_SLOWER})
    _open(page, address, "scan")
    yield Timed(
        "scan offline, the phone's answer",
        OFFLINE_GOAL,
        [_scan(page, next(codes), VERDICT) for _ in range(rounds)],
    )
    yield Timed("start offline until it can scan", "", [_start(page, address) for _ in range(rounds)])
    yield Timed("a scan of the walk offline", OFFLINE_GOAL, _walk(page, address, case, case.aboard))


def _open(page: Any, address: str, screen: str) -> None:
    """The screen drawn anew, whatever is shown now."""
    page.goto(f"{address}/truck/#menu")
    page.goto(f"{address}/truck/#{screen}")
    page.locator(f"#screen[data-screen={screen}]").wait_for()


def _scan(page: Any, code: str, wanted: str) -> float:
    """Ms from Enter behind a typed code to what is wanted on the screen."""
    page.evaluate("() => { location.hash = '#scan'; }")
    field = page.locator("#screen[data-screen=scan] input[name=code]")
    field.fill(code)
    field.press("Enter", no_wait_after=True)
    return page.evaluate("(wanted) => shown(wanted)", wanted)


def _start(page: Any, address: str) -> float:
    """Ms from the opening of the client, out of the worker, to the screen for scanning with its data."""
    page.goto("about:blank")
    page.goto(f"{address}/truck/#scan", wait_until="commit")
    page.wait_for_function("() => document.documentElement?.dataset.screens")
    return page.evaluate(CAN_SCAN)


def _walk(page: Any, address: str, case: Case, codes: Sequence[str]) -> list[float]:
    """Ms of each scan of a walk by a hand scanner, from Enter to the piece counted and its answer shown."""
    _open(page, address, "walk")
    page.locator("select[name=truck]").select_option(case.truck)
    page.locator("[data-part=form] button.main").click()
    page.locator("[data-part=lists][data-seen='0']").wait_for(state="attached")
    taken = []
    for count, code in enumerate(codes, start=1):
        page.keyboard.type(code)
        page.keyboard.press("Enter")
        taken.append(page.evaluate("(wanted) => shown(wanted)", f"[data-part=lists][data-seen='{count}']"))
    return taken
