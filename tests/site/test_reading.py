"""To look is not to touch: no GET writes to the database, and nothing is written on the word of another site."""

import re

import pytest
from django.db import connection
from django.test import Client

from gear.models import ROLES, Entry, GivenAnswer
from gear.site import gate
from tests.lasting import cast  # noqa: F401
from tests.site.test_matrix import (  # noqa: F401 - fixtures
    OWN,
    address,
    client_of,
    on_file,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_paper")]
WRITES = re.compile(r"^\s*(INSERT|UPDATE|DELETE|REPLACE|MERGE|TRUNCATE|CREATE|ALTER|DROP)\b", re.IGNORECASE)
READABLE = [name for name in OWN if "GET" in gate.methods_of(name)]
WRITABLE = [name for name in OWN if "POST" in gate.methods_of(name)]


class WriteGuard:
    """Keeps every statement that would change a row, and lets it pass: the views must not even try."""

    def __init__(self):
        self.seen = []

    def __call__(self, execute, sql, params, many, context):
        if WRITES.match(sql):
            self.seen.append(" ".join(sql.split())[:60])
        return execute(sql, params, many, context)


@pytest.mark.parametrize("name", READABLE)
def test_a_get_writes_nothing(name, address, client_of):
    target = address(name)
    # To be told an answer is evidence of its own: what was the worker told?
    allowed = {'INSERT INTO "gear_givenanswer"'} if name == "answer" else set()
    if name == "health":  # a trial row, rolled back: whether records could be kept is what the page is asked
        allowed = {'INSERT INTO "sign_in_attempts"'}
    # A closed door is kept as a refusal, see test_gate.
    roles = [role for role in ("anonymous", *ROLES) if role in gate.methods_of(name)["GET"]]
    for role in roles:
        client, guard = client_of(role), WriteGuard()
        with connection.execute_wrapper(guard):
            for method in ("get", "head", "options") if role == roles[-1] else ("get",):
                b"".join(getattr(client, method)(target))
        assert {sql[:30] for sql in guard.seen} <= {one[:30] for one in allowed}, (
            f"{role} {target}: {guard.seen}"
        )


def test_the_guard_sees_a_write(cast):
    guard = WriteGuard()
    with connection.execute_wrapper(guard):
        cast.dev.save()
    assert guard.seen
    assert guard.seen[0].startswith("UPDATE")


def test_to_be_told_an_answer_is_kept_once_and_touches_nothing_else(address, client_of):
    target, entries = address("answer"), Entry.objects.count()
    client_of("worker").get(target)
    assert (GivenAnswer.objects.count(), Entry.objects.count()) == (1, entries)


@pytest.mark.parametrize("name", [name for name in WRITABLE if name != "logout"])
def test_a_post_without_the_token_of_our_own_page_writes_nothing(name, address, client_of):
    """As a page of another site would send it, with the cookies of somebody who may do it."""
    target = address(name)
    role = next(role for role in ROLES if role in gate.methods_of(name)["POST"])
    client = client_of(role)
    client.handler.enforce_csrf_checks = True
    guard = WriteGuard()
    for content_type in ("application/x-www-form-urlencoded", "text/plain", "application/json"):
        with connection.execute_wrapper(guard):
            answer = client.post(target, b'{"reason": "x"}', content_type=content_type)
        assert answer.status_code in (403, 415), content_type
    assert guard.seen == []


def test_signing_out_needs_the_token_too(client_of):
    client = client_of("worker")
    client.handler.enforce_csrf_checks = True
    assert client.post("/logout/").status_code == 403
    assert client.get("/my/password/").status_code == 200


# A session is one person's, from sign-in to sign-out


def sign_in(client, **more):
    return client.post("/login/", {"username": "dev", "password": "dev keeps a secret", **more})


def test_signing_in_gives_a_new_session_and_signing_out_ends_it(cast, settings):
    client = Client()
    client.cookies[settings.SESSION_COOKIE_NAME] = "chosenbyanattacker00000000000000"
    sign_in(client)
    key = client.session.session_key
    assert key != "chosenbyanattacker00000000000000"
    client.post("/logout/")
    thief = Client()
    thief.cookies[settings.SESSION_COOKIE_NAME] = key
    assert thief.get("/my/password/").status_code == 302


@pytest.mark.parametrize(
    "elsewhere",
    [
        "https://evil.example/",
        "//evil.example/",
        "///evil.example/",
        "/\\evil.example/",
        "\\\\evil.example/",
        "https:evil.example",
        "http:///evil.example/",
        " //evil.example/",
        "\t//evil.example/",
        "javascript:alert(1)",
        "data:text/html,x",
        "ftp://evil.example/",
        "https://testserver@evil.example/",
        "https://testserver.evil.example/",
    ],
)
def test_signing_in_leads_to_no_other_site(cast, elsewhere):
    assert sign_in(Client(), next=elsewhere).url == "/"
    page = Client()
    page.get("/login/", {"next": elsewhere})
    assert (
        page.post("/login/?next=" + elsewhere, {"username": "dev", "password": "dev keeps a secret"}).url
        == "/"
    )


def test_signing_in_leads_back_to_where_one_wanted_to_go(cast):
    assert sign_in(Client(), next="/my/password/?a=b").url == "/my/password/?a=b"


# What lies about on servers is not here


@pytest.mark.parametrize(
    "path",
    [
        "/.git/config",
        "/.env",
        "/admin/doc/",
        "/media/",
        "/static/",
        "/static/../gear/site/settings.py",
        "/static/%2e%2e/manage.py",
        "/debug/",
        "/server-status",
        "/__debug__/",
    ],
)
def test_nothing_else_is_served(cast, path):
    client = Client(raise_request_exception=False)
    client.force_login(cast.pim)
    answer = client.get(path)
    assert answer.status_code in (400, 403, 404)
    assert b"SECRET_KEY" not in b"".join(answer)


@pytest.mark.parametrize(
    "content_type", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data"]
)
def test_the_api_reads_json_that_says_it_is_json(cast, content_type, client_of):
    client = client_of("clerk")
    answer = client.post("/api/v1/tests/", b'{"item_no": "G-1"}', content_type=content_type)
    assert answer.status_code == 415
