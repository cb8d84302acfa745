"""A real browser, looked at with the eyes of a worker: what it logs as broken fails the test."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Playwright, ViewportSize, expect, sync_playwright

QUIET = [
    "--no-sandbox",  # Chromium refuses its sandbox to root, who runs this in a container
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
]
FAKE_CAMERA = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
PHONE = ViewportSize(width=390, height=844)
DESK = ViewportSize(width=1280, height=900)
PATIENCE = (
    30_000  # ms: two other runs of the suite share the machine, and no test may fail because it was busy
)
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What a browser makes of a page is tried on one database; the pages themselves are asked without one on both.

    Stories whose point is what is recorded bear `both_databases`.
    """
    for item in items:
        if item.path.is_relative_to(Path(__file__).parent):
            item.add_marker(pytest.mark.browser)
            if not item.get_closest_marker("both_databases"):
                item.add_marker(pytest.mark.one_database)


def chromium() -> str:
    """Where Chromium is; CHROMIUM in the environment names another place."""
    names = ("chromium-headless-shell", "chromium", "chromium-browser")
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, names)), None)
    assert found, "Chromium is not installed: run .ci/system, or name it in CHROMIUM."
    return found


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    from django.db import connections

    expect.set_options(timeout=PATIENCE)
    # Beside a running event loop Django has other connections for this thread. One left open would be nobody's,
    # and PostgreSQL would refuse to rename a database that is in use.
    connections.close_all()
    with sync_playwright() as started:  # a second one in the same process would fail
        yield started


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    opened = playwright.chromium.launch(executable_path=chromium(), args=QUIET)
    yield opened
    opened.close()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Opens pages: `open_page(viewport=PHONE, color_scheme="dark")`. A script error or blocked load fails the test."""
    problems: list[str] = []
    contexts = []

    def opener(**choices: object) -> Page:
        context = browser.new_context(**{"viewport": DESK, "locale": "en-US"} | choices)
        context.set_default_timeout(PATIENCE)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: problems.append(f"{page.url}: {error}"))
        page.on(
            "console", lambda line: problems.append(f"{page.url}: {line.text}") if _is_problem(line) else None
        )
        return page

    yield opener
    for context in contexts:
        context.close()
    assert not problems


def _is_problem(line: object) -> bool:
    # An answer of 403 or 404 is logged as a failed load; tests ask for these on purpose.
    return line.type == "error" and not line.text.startswith("Failed to load resource")


@pytest.fixture
def page(open_page: Callable[..., Page]) -> Page:
    return open_page()


@pytest.fixture
def sign_in(live_server: object) -> Callable[..., None]:
    """`sign_in(page, "orla")` through the page that people use."""

    def by_form(page: Page, name: str) -> None:
        page.goto(f"{live_server.url}/login/")
        page.get_by_label("Name").fill(name)
        page.get_by_label("Password").fill(f"{name} keeps a secret")
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(lambda url: "/login/" not in url)

    return by_form


def assert_accessible(page: Page) -> None:
    """No rule of WCAG 2.2 AA that axe-core can judge is broken."""
    result = Axe().run(
        page, options={"runOnly": {"type": "tag", "values": WCAG}, "resultTypes": ["violations"]}
    )
    assert result.violations_count == 0, result.generate_report()


def assert_fits(page: Page) -> None:
    """The page itself never scrolls sideways; a wide table scrolls inside its own box."""
    sizes = page.evaluate(
        "() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert sizes[0] <= sizes[1], f"{page.url} is {sizes[0]} wide on a screen of {sizes[1]}"


def camera_file(path: Path, payload: str) -> Path:
    """A film of one label held still. One 640 x 480 JPEG with 4:2:0 colour is a valid .mjpeg; Chromium loops it."""
    import qrcode
    from PIL import Image

    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_Q, border=4, box_size=10)
    code.add_data(payload)
    code.make(fit=True)
    picture = Image.new("RGB", (640, 480), (120, 120, 110))
    label = code.make_image().get_image().convert("RGB").resize((300, 300))
    picture.paste(label, (170, 90))
    picture.save(path, "JPEG", quality=90, subsampling=2)
    return path


@pytest.fixture
def camera_page(playwright: Playwright, tmp_path: Path) -> Iterator[Callable[[str], Page]]:
    """A page whose camera sees a label with the given payload. Each payload needs a browser of its own."""
    opened = []

    def make(payload: str) -> Page:
        film = camera_file(tmp_path / f"{len(opened)}.mjpeg", payload)
        arguments = [*QUIET, *FAKE_CAMERA, f"--use-file-for-fake-video-capture={film}"]
        seeing = playwright.chromium.launch(executable_path=chromium(), args=arguments)
        opened.append(seeing)
        return seeing.new_context(permissions=["camera"], viewport=PHONE).new_page()

    yield make
    for seeing in opened:
        seeing.close()
