"""The shell of the phone client: one page for everybody, a manifest, and a worker that keeps exactly what it loads."""

import base64
import hashlib
import io
import re
from html.parser import HTMLParser
from urllib.parse import urljoin

import pytest
from django.test import Client
from PIL import Image

from inspections.field import shell

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def content_of(address: str, client: Client) -> bytes:
    response = client.get(address)
    assert response.status_code == 200, address
    return b"".join(response.streaming_content) if response.streaming else response.content


def worker_of(client: Client, **headers: str) -> str:
    return client.get("/sw.js", headers=headers).content.decode()


def kept_by(worker: str) -> dict[str, str]:
    rows = re.findall(r'\["([^"]+)", "([^"]+)"\]', worker)
    return {unescaped(address): unescaped(integrity) for address, integrity in rows}


def unescaped(text: str) -> str:
    """What JavaScript reads where `escapejs` wrote."""
    return re.sub(r"\\u([0-9A-F]{4})", lambda found: chr(int(found[1], 16)), text)


class Loads(HTMLParser):
    """The addresses of every file that a page loads by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()

    def handle_starttag(self, tag, attrs):
        stated = dict(attrs)
        if tag == "script":
            self.found.add(stated["src"])
        if tag == "link" and stated["rel"] != "manifest":
            self.found.add(stated["href"])


def loaded_by(client: Client) -> set[str]:
    """Every file the page needs: what it names, and what its modules import, however deep."""
    page = Loads()
    page.feed(client.get("/truck/").content.decode())
    waiting, seen = list(page.found), set()
    while waiting:
        address = waiting.pop()
        if address in seen:
            continue
        seen.add(address)
        if address.endswith(".js"):
            text = content_of(address, client).decode()
            imports = re.findall(
                r"""^(?:import|export)\b(?:[^;("]*\bfrom)?\s*["'](\.[^"']+)["']""", text, re.M
            )
            waiting += [urljoin(address, one) for one in imports]
    return seen


@pytest.fixture(params=["plain names", "hashed names"])
def served(request, settings):
    """Static files as a fresh clone serves them, and as a server does after collectstatic."""
    if request.param == "plain names":
        yield Client()
        return
    settings.STATIC_ROOT = request.getfixturevalue("collected")
    yield Client()


def test_the_worker_keeps_every_file_that_the_page_loads(served):
    missing = loaded_by(served) - kept_by(worker_of(served)).keys()
    assert not missing


def test_each_file_it_keeps_is_there_and_has_the_content_that_the_worker_expects(served):
    kept = kept_by(worker_of(served))
    assert len(kept) > 10
    for address, integrity in kept.items():
        digest = hashlib.sha256(content_of(address, served)).digest()
        assert integrity == f"sha256-{base64.b64encode(digest).decode()}", address


def test_after_collectstatic_each_name_carries_its_content(settings, collected, client):
    settings.STATIC_ROOT = collected
    assert all(re.search(r"\.[0-9a-f]{12}\.\w+$", address) for address in kept_by(worker_of(client)))


def test_the_page_is_the_same_for_everybody(client, cast):
    visitor = Client().get("/truck/").content
    client.force_login(cast.dev)
    assert client.get("/truck/").content == visitor


def version_told(client):
    """The version that the page bears, which is the one that the worker keeps."""
    found = re.search(r'data-version="(\w+)"', client.get("/truck/").content.decode())[1]
    assert f"shell-{found}" in worker_of(client)
    return found


def test_other_words_are_another_version(client, monkeypatch):
    before = version_told(client)
    monkeypatch.setattr(shell, "_", lambda words: f"{words}, elsewhere")
    assert version_told(client) != before


def test_another_content_of_any_file_is_another_version(client, monkeypatch):
    before, as_served = version_told(client), shell._as_served
    monkeypatch.setattr(shell, "_as_served", lambda name: as_served(name) + b" " * name.endswith("code.js"))
    assert version_told(client) != before


def test_each_language_has_a_version_of_its_own(client):
    versions = {
        re.search(r"shell-\w+", worker_of(client, accept_language=one))[0] for one in ("en", "fr", "es")
    }
    assert len(versions) == 3


def test_the_manifest_names_icons_of_the_sizes_that_phones_ask_for(served):
    stated = served.get("/truck/app.webmanifest").json()
    assert (stated["start_url"], stated["scope"], stated["display"]) == ("/truck/", "/", "standalone")
    for icon in stated["icons"]:
        picture = Image.open(io.BytesIO(content_of(icon["src"], served)))
        assert "x".join(map(str, picture.size)) == icon["sizes"]
    stated_for = {(icon["sizes"], icon["purpose"]) for icon in stated["icons"]}
    assert {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")} <= stated_for


def test_who_may_open_the_ordinary_pages_finds_the_way_to_the_truck_and_a_visitor_as_well(client, cast):
    assert 'href="/truck/"' in client.get("/login/").content.decode()
    assert 'href="/truck/"' in client.get("/t/2C4T9KXFPW7").content.decode()
    client.force_login(cast.dev)
    assert '<li><a href="/truck/">' in client.get("/").content.decode()
