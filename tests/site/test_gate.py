"""What no permission table lists is open to nobody."""

import json

import pytest
from django.contrib.auth.models import AnonymousUser
from django.http import HttpResponse
from django.test import RequestFactory
from django.urls import ResolverMatch, get_resolver
from rest_framework.authentication import BaseAuthentication
from rest_framework.response import Response
from rest_framework.views import APIView

from gear.models import Refusal
from gear.site import gate


@pytest.fixture
def listed(monkeypatch):
    def rows(**routes):
        monkeypatch.setattr(gate, "routes", lambda: {**gate.OWN_ROUTES, **routes})

    return rows


CLERK_ONLY = {"GET": frozenset({"clerk"})}


def test_an_unlisted_route_is_open_to_nobody(listed, cast):
    listed()
    people = [AnonymousUser(), cast.orla, cast.dev, cast.bertrand, cast.ines, cast.halvard, cast.pim]
    assert not any(
        gate.may(person, "forgotten", method=method) for person in people for method in ("GET", "POST")
    )


@pytest.mark.parametrize(
    ("method", "open_"),
    [("GET", True), ("HEAD", True), ("OPTIONS", True), ("POST", False), ("DELETE", False)],
)
def test_head_and_options_follow_get(listed, cast, method, open_):
    listed(bench=CLERK_ONLY)
    assert gate.may(cast.orla, "bench", method=method) is open_


def test_a_person_who_left_has_no_role(listed, cast):
    listed(bench=CLERK_ONLY)
    cast.orla.is_active = False
    assert not gate.may(cast.orla, "bench")


def test_a_route_listed_twice_stops_the_start(monkeypatch):
    import gear.permissions

    monkeypatch.setitem(gear.permissions.ROUTES, "login", CLERK_ONLY)
    gate.routes.cache_clear()
    with pytest.raises(ValueError, match="login"):
        gate.routes()
    monkeypatch.undo()
    gate.routes.cache_clear()


def asked(client, person=None, method="get", address="/login/"):
    if person:
        client.force_login(person)
    return getattr(client, method)(address)


@pytest.fixture
def bench_only_for_clerks(monkeypatch):
    monkeypatch.setitem(gate.OWN_ROUTES, "login", CLERK_ONLY)
    gate.routes.cache_clear()
    yield
    monkeypatch.undo()
    gate.routes.cache_clear()


def test_a_visitor_is_led_to_sign_in(client, db, bench_only_for_clerks):
    answer = asked(client)
    assert (answer.status_code, answer.url) == (302, "/login/?next=/login/")


def test_another_role_is_refused_with_a_sentence(client, cast, bench_only_for_clerks):
    answer = asked(client, cast.dev)
    assert answer.status_code == 403
    assert "Your role does not open this page" in answer.content.decode()


def test_a_method_that_the_row_lacks_is_refused(client, cast, bench_only_for_clerks):
    assert asked(client, cast.orla, method="post").status_code == 405


def test_a_method_without_a_row_changes_nothing_whoever_asks(client, cast, bench_only_for_clerks):
    answer = asked(client, cast.dev, method="delete")
    assert (answer.status_code, answer.headers["Allow"]) == (405, "GET, OPTIONS")


def test_a_visitor_to_an_unlisted_page_is_not_sent_to_sign_in(client, db, listed, monkeypatch):
    monkeypatch.delitem(gate.OWN_ROUTES, "login")
    listed()
    assert asked(client).status_code == 403


def test_a_page_below_api_answers_a_visitor_in_json(rf, bench_only_for_clerks):
    request = rf.get("/api/v1/login/")
    request.user, request.resolver_match = AnonymousUser(), ResolverMatch(None, (), {}, url_name="login")
    answer = gate.Gate(None).process_view(request, lambda request: None)
    assert answer.status_code == 401
    assert json.loads(answer.content)["error"]["code"] == "not_authenticated"


def test_the_role_in_the_row_is_let_in(client, cast, bench_only_for_clerks):
    assert asked(client, cast.orla).status_code == 200


@pytest.mark.parametrize("name", ["orla", "dev", "ines", "halvard"])
def test_the_admin_site_opens_for_the_administrator_alone(client, cast, name):
    assert asked(client, getattr(cast, name), address="/admin/").status_code == 403


def test_the_admin_site_opens_for_the_administrator(client, cast):
    assert asked(client, cast.pim, address="/admin/").status_code == 200


# The API: RoutePermission reads the same table


def api_asked(person, *, method="get", name="bench"):
    """The answer of an API view behind the gate, as (status, what it says)."""

    class Bench(APIView):
        authentication_classes = ()

        def get(self, request):
            return Response({})

    request = getattr(RequestFactory(), method)("/api/v1/bench/")
    request.resolver_match = ResolverMatch(Bench.as_view(), (), {}, url_name=name)
    request._dont_enforce_csrf_checks = True
    if person:
        request.user = person
        Bench.authentication_classes = (lambda: Trusting(person),)
    return Bench.as_view()(request)


class Trusting(BaseAuthentication):
    def __init__(self, person):
        self.person = person

    def authenticate(self, request):
        return self.person, None


@pytest.mark.parametrize(
    ("name", "method", "status"),
    [
        ("orla", "get", 200),
        ("orla", "head", 200),
        ("orla", "options", 200),
        ("orla", "post", 405),
        ("dev", "get", 403),
        ("halvard", "get", 403),
        ("dev", "post", 405),
        (None, "get", 401),
    ],
)
def test_the_api_is_judged_by_the_same_table(listed, cast, name, method, status):
    listed(bench=CLERK_ONLY)
    answer = api_asked(getattr(cast, name) if name else None, method=method)
    assert answer.status_code == status


def test_an_unlisted_api_route_is_open_to_nobody(listed, cast):
    listed()
    assert {api_asked(person).status_code for person in (None, cast.orla, cast.pim)} == {403}


def test_a_401_says_how_to_identify(listed, db):
    listed(bench=CLERK_ONLY)
    assert api_asked(None).headers["WWW-Authenticate"]


def test_an_api_view_that_opts_out_is_judged_as_a_page_is():
    class Open(APIView):
        permission_classes = ()

    assert gate.is_api_view(APIView.as_view())
    assert not gate.is_api_view(Open.as_view())
    assert not gate.is_api_view(APIView.as_view(permission_classes=()))
    assert not gate.is_api_view(lambda request: HttpResponse())


# What is refused is kept


def test_a_closed_door_is_kept_with_who_and_what(client, cast, bench_only_for_clerks):
    asked(client, cast.dev)
    kept = Refusal.objects.get()
    assert (kept.by, kept.via, kept.act, kept.subject, kept.code) == (
        cast.dev,
        "web",
        "GET login",
        "/login/",
        "ROLE",
    )


def test_a_closed_door_of_the_api_is_kept(listed, cast):
    listed(bench=CLERK_ONLY)
    api_asked(cast.dev)
    kept = Refusal.objects.get()
    assert (kept.by, kept.via, kept.act, kept.subject) == (cast.dev, "api", "GET bench", "/api/v1/bench/")


def test_visitors_leave_no_rows_behind(client, db, bench_only_for_clerks, listed):
    asked(client)
    listed()
    api_asked(None)
    assert not Refusal.objects.exists()


def test_an_address_with_unprintable_symbols_is_kept_without_them(client, cast, monkeypatch):
    request = RequestFactory().get("/items/G%00%0a1/")
    request.resolver_match = None
    gate.keep_closed_door(request, user=cast.dev)
    assert Refusal.objects.get().subject == "/items/G1/"


def test_every_route_has_a_name():
    def nameless(resolver, before=""):
        for entry in resolver.url_patterns:
            here = before + str(entry.pattern)
            if hasattr(entry, "url_patterns"):
                yield from nameless(entry, here)
            elif not entry.name and not here.startswith("admin/"):
                yield here

    assert list(nameless(get_resolver())) == []


def test_the_gate_stands_before_every_page(settings):
    assert settings.MIDDLEWARE[-1] == "gear.site.gate.Gate"
    assert settings.REST_FRAMEWORK["DEFAULT_PERMISSION_CLASSES"] == ["gear.site.gate.RoutePermission"]
