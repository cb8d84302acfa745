"""The shell of the phone client: one page for everybody, a manifest, and a worker that keeps exactly what it loads."""

import base64
import hashlib
import re
from html.parser import HTMLParser
from urllib.parse import urljoin

import pytest
from django.core.management import call_command
from django.test import Client

from tests.conftest import PROJECT

pytestmark = pytest.mark.django_db
FIELD = PROJECT / "inspections/static/inspections/field"


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
def served(request, settings, tmp_path):
    """Static files as a fresh clone serves them, and as a server does after collectstatic."""
    if request.param == "plain names":
        yield Client()
        return
    settings.STATIC_ROOT = tmp_path
    call_command("collectstatic", interactive=False, verbosity=0)
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


def test_after_collectstatic_each_name_carries_its_content(settings, tmp_path, client):
    settings.STATIC_ROOT = tmp_path
    call_command("collectstatic", interactive=False, verbosity=0)
    assert all(re.search(r"\.[0-9a-f]{12}\.\w+$", address) for address in kept_by(worker_of(client)))
