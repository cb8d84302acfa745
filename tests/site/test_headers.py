"""Every address answers with the protective headers, whatever the answer is.

Source of the rules: MDN HTTP Observatory scoring as listed beside each check; RFC 6797 for HSTS.
"""

import re

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.resolvers import RoutePattern

from gear.site.headers import POLICY

FILLERS = {
    "int": "1",
    "str": "ABC",
    "slug": "abc",
    "uuid": "00000000-0000-4000-8000-000000000000",
    "path": "a/b",
}


def every_address(resolver=None, before=""):
    """One example address for each pattern of the site."""
    for entry in (resolver or get_resolver()).url_patterns:
        here = before + example(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from every_address(entry, here)
        elif isinstance(entry, URLPattern):
            yield "/" + here


def example(pattern):
    text = str(pattern)
    if isinstance(pattern, RoutePattern):
        return re.sub(r"<(?:(\w+):)?\w+>", lambda found: FILLERS.get(found[1] or "str", "ABC"), text)
    text = re.sub(r"\(\?P<\w+>[^()]*(?:\([^()]*\)[^()]*)*\)", "ABC", text)  # a named group
    text = re.sub(r"\[(\w)[^]]*\]", r"\1", text)  # a choice of letters: the first
    return re.sub(r"[\^$?\\]", "", text).replace("Z", "")


ADDRESSES = sorted(set(every_address()) | {"/nothing/here/", "/static/gear/site.css", "/api/v1/nothing/"})


def assert_protected(answer):
    headers = answer.headers
    assert headers["Content-Security-Policy"] == POLICY
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert headers["Cross-Origin-Embedder-Policy"] == "require-corp"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert "camera=(self)" in headers["Permissions-Policy"]
    assert "Access-Control-Allow-Origin" not in headers


@pytest.mark.one_database
@pytest.mark.django_db
@pytest.mark.parametrize("address", ADDRESSES)
def test_a_visitor_gets_the_headers_everywhere(client, address):
    client.raise_request_exception = False
    answer = client.get(address)
    answer.close()
    assert answer.status_code < 500
    assert_protected(answer)
    if not address.startswith("/static/"):
        assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.one_database
@pytest.mark.django_db
@pytest.mark.parametrize("address", ADDRESSES)
def test_the_administrator_gets_the_headers_everywhere(client, cast, address):
    client.force_login(cast.pim)
    client.raise_request_exception = False
    answer = client.get(address)
    answer.close()
    assert answer.status_code < 500
    assert_protected(answer)


def test_the_policy_opens_nothing_unsafe():
    assert "default-src 'none'" in POLICY
    assert "frame-ancestors 'none'" in POLICY
    assert not re.search(r"unsafe|\*|https?:|blob:", POLICY)


@pytest.mark.django_db
def test_a_refused_host_carries_the_headers():
    answer = Client(SERVER_NAME="evil.example", raise_request_exception=False).get("/login/")
    assert answer.status_code == 400
    assert_protected(answer)


@pytest.mark.django_db
def test_a_broken_view_carries_the_headers_and_says_what_is_kept(monkeypatch):
    monkeypatch.setattr("gear.site.sign_in._demo_people", lambda: 1 / 0)
    answer = Client(raise_request_exception=False).get("/login/")
    assert answer.status_code == 500
    assert_protected(answer)
    page = answer.content.decode()
    assert "nothing of it is lost" in page
    assert "CAN&#x27;T SAY. DO NOT USE" in page or "CAN'T SAY. DO NOT USE" in page


# Over https

SECURE = {
    "SECURE_SSL_REDIRECT": True,
    "SESSION_COOKIE_SECURE": True,
    "CSRF_COOKIE_SECURE": True,
    "SECURE_HSTS_SECONDS": 31_536_000,
}


def test_an_https_installation_keeps_its_cookies_and_browsers_to_https(manage):
    names = (*SECURE, "SESSION_COOKIE_NAME", "SESSION_COOKIE_AGE", "SECURE_HSTS_INCLUDE_SUBDOMAINS")
    code = f"from django.conf import settings as s; print([getattr(s, name) for name in {names!r}])"
    done = manage(
        "shell", "-v", "0", "-c", code, BASE_URL="https://gear.example.org", ALLOWED_HOSTS="gear.example.org"
    )
    assert done.stdout.strip() == str([*SECURE.values(), "__Host-session", 43_200, True]), done.stderr


@pytest.mark.django_db
def test_cookies_over_https(settings, cast):
    for name, value in SECURE.items():
        setattr(settings, name, value)
    client = Client()
    client.get("/login/", secure=True)
    client.post("/login/", {"username": "orla", "password": "orla keeps a secret"}, secure=True)
    session, csrf = client.cookies[settings.SESSION_COOKIE_NAME], client.cookies["csrftoken"]
    assert (session["secure"], session["httponly"], session["samesite"]) == (True, True, "Lax")
    assert (csrf["secure"], csrf["samesite"]) == (True, "Lax")
