"""The shell at the truck, in a real browser: kept for the hour without a network, and replaced by nothing else."""

import random
import re
import threading
import urllib.request
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from playwright.sync_api import Error, expect

from gear.rules import codes
from tests.browser.conftest import PHONE
from tests.browser.serving import Server

CODE = codes.new_code(random.Random(81))
PORTAL = b"<!doctype html><title>Free Wi-Fi</title><h1>GOOD THROUGH 31 December 2099</h1>"

pytestmark = pytest.mark.django_db(transaction=True)


class Between(ThreadingHTTPServer):
    """What stands between a phone and the server. `mood`: plain, portal, failing, silent or released.

    Released: the server as it will be with the next release, under another version.
    """

    daemon_threads = True

    def __init__(self, behind: str) -> None:
        super().__init__(("127.0.0.1", 0), _Passing)
        self.behind, self.mood = behind, "plain"
        self.go_on = threading.Event()
        self.url = f"http://127.0.0.1:{self.server_port}"


class _Passing(BaseHTTPRequestHandler):
    server: Between

    def log_message(self, *_arguments):
        pass

    def do_GET(self):
        mood = self.server.mood
        is_worker = self.path == "/sw.js"
        if mood == "silent":
            self.server.go_on.wait(30)
        elif mood == "failing":
            self.send_error(502)
        elif mood == "portal" and not is_worker:
            self.answer(200, {"Content-Type": "text/html"}, PORTAL)
        else:
            self.pass_on(another_version=mood in ("portal", "released"))

    def pass_on(self, *, another_version):
        with urllib.request.urlopen(self.server.behind + self.path, timeout=20) as given:  # noqa: S310 - our own
            body = given.read()
            if another_version:
                body = re.sub(rb'(data-version="|shell-)[0-9a-f]{4}', rb"\1beef", body)
                body = re.sub(rb'(includes\(\'data-version=")[0-9a-f]{4}', rb"\1beef", body)
            self.answer(given.status, dict(given.headers), body)

    def answer(self, status, headers, body):
        self.send_response(status)
        for name, value in headers.items():
            if name.lower() not in ("content-length", "connection", "content-encoding", "transfer-encoding"):
                self.send_header(name, value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)


@pytest.fixture
def between(live_server):
    started = Between(live_server.url)
    threading.Thread(target=started.serve_forever, daemon=True).start()
    yield started
    started.go_on.set()
    started.shutdown()
    started.server_close()


def opened(page, url):
    page.goto(f"{url}/truck/")
    expect(page.locator("html")).to_have_attribute("data-kept", "yes")
    return page


def caches_of(page):
    return page.evaluate("() => caches.keys()")


def assert_shell_answers(page):
    """The shell speaks for the label, and says what a device without data can say."""
    page.wait_for_url(re.compile(f"/truck/#answer/{CODE}$"))
    expect(page.locator(".answer .word")).to_have_text("CAN'T SAY. DO NOT USE")


def test_the_shell_and_a_label_are_there_while_the_server_is_not(open_page, tmp_path):
    server = Server(tmp_path)
    server.start()
    try:
        page = opened(open_page(viewport=PHONE), server.url)
        server.kill()
        page.reload()
        expect(page.get_by_role("heading", name="Scan a label")).to_be_visible()
        for label in (f"/t/{CODE}", f"/T/{CODE}/"):
            page.goto(server.url + label)
            assert_shell_answers(page)
        page.reload()
        assert_shell_answers(page)
        with pytest.raises(Error, match="ERR_CONNECTION_REFUSED"):
            page.goto(f"{server.url}/login/")  # nothing else is kept
    finally:
        server.kill()


def test_the_servers_page_is_shown_where_it_can_be_had_and_the_shell_where_not(open_page, between):
    page = opened(open_page(viewport=PHONE), between.url)
    page.goto(f"{between.url}/t/{CODE}")
    expect(page.get_by_text("Not in the book. Hand it in.")).to_be_visible()
    assert page.url == f"{between.url}/t/{CODE}"
    for between.mood in ("failing", "portal", "silent"):
        page.goto(f"{between.url}/t/{CODE}")
        assert_shell_answers(page)
        assert "2099" not in page.content()


def test_a_new_release_takes_over_with_the_next_screen_and_leaves_nothing_of_the_old(open_page, between):
    page = opened(open_page(viewport=PHONE), between.url)
    (old,) = caches_of(page)
    between.mood = "portal"  # a new worker, but a captive portal's page for everything that it would keep
    page.evaluate(
        """async () => {
             const registration = await navigator.serviceWorker.ready;
             const fresh = (await registration.update()).installing;
             if (fresh.state !== 'redundant') await new Promise((done) => { fresh.onstatechange = done; });
           }"""
    )
    assert caches_of(page) == [old]
    page.reload()
    expect(page.get_by_role("heading", name="Scan a label")).to_be_visible()

    between.mood = "released"
    page.evaluate(
        """async () => {
             globalThis.before = true;
             const changed = new Promise((done) => { navigator.serviceWorker.oncontrollerchange = done; });
             await (await navigator.serviceWorker.ready).update();
             await changed;
           }"""
    )
    page.get_by_role("link", name="Menu").click()
    page.wait_for_function("() => !globalThis.before")
    expect(page.get_by_role("heading", name="At the truck")).to_be_visible()
    (new,) = caches_of(page)
    assert new != old


def test_a_phone_may_put_it_on_its_home_screen(open_page, live_server):
    page = opened(open_page(viewport=PHONE), live_server.url)
    session = page.context.new_cdp_session(page)
    assert session.send("Page.getAppManifest")["errors"] == []
    errors = session.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert [error["errorId"] for error in errors] in ([], ["in-incognito"])  # as tests always are


def test_without_script_it_says_what_to_do_and_the_server_answers(open_page, live_server):
    page = open_page(viewport=PHONE, java_script_enabled=False)
    page.goto(f"{live_server.url}/truck/")
    page.get_by_label("Code on the label").fill(CODE)
    page.get_by_role("button", name="Check").click()
    expect(page.locator(".verdict .word")).to_have_text("CAN'T SAY. DO NOT USE")
