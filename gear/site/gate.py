"""The gate before every route: what no permission table lists is open to nobody.

Each app lists its routes in its own permissions module, as ROUTES: {url name: {method: roles}}. HEAD and OPTIONS
follow GET. Pages are judged here, before their view runs; the API by RoutePermission, once it knows who asks.
"""

from collections.abc import Callable, Mapping
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseNotAllowed
from django.http.response import HttpResponseBase
from django.utils.translation import gettext as _
from rest_framework.permissions import BasePermission

from gear.permissions import ANYONE, EVERYONE

Roles = frozenset[str]
APPS = ("gear", "inspections", "reports")
OWN_ROUTES: Mapping[str, Mapping[str, Roles]] = {
    "login": {"GET": ANYONE, "POST": ANYONE},
    "logout": {"POST": EVERYONE},
    "admin_login": {"GET": ANYONE},
}
ADMIN_SITE: Mapping[str, Roles] = {method: frozenset({"administrator"}) for method in ("GET", "POST")}


@cache
def routes() -> dict[str, Mapping[str, Roles]]:
    """Every listed route. Raises ValueError where two apps list the same one."""
    listed = dict(OWN_ROUTES)
    for app in APPS:
        if not find_spec(f"{app}.permissions"):
            continue
        for name, methods in import_module(f"{app}.permissions").ROUTES.items():
            if name in listed:
                raise ValueError(f"The route {name!r} is listed twice; {app}.permissions has the second.")
            listed[name] = methods
    return listed


def methods_of(name: str) -> Mapping[str, Roles]:
    """The roles of each method of a route; empty for one that is not listed."""
    if name.startswith("admin:"):
        return ADMIN_SITE
    return routes().get(name, {})


def role_of(user: Any) -> str:
    """The role that counts: a person who was deactivated has none left but the visitor's."""
    if user is None or not user.is_authenticated or not user.is_active:
        return "anonymous"
    return user.role


def may(user: Any, name: str, *, method: str = "GET") -> bool:
    asked = "GET" if method in ("HEAD", "OPTIONS") else method
    return role_of(user) in methods_of(name).get(asked, frozenset())


class Gate:
    """Middleware: a page opens only for the roles that its row names."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, *_arguments: Any) -> HttpResponseBase | None:
        match = request.resolver_match
        name = match.view_name if match else ""
        if is_api_view(view):
            return None
        methods = methods_of(name)
        if methods and request.method not in {*methods, "HEAD", "OPTIONS"}:
            return HttpResponseNotAllowed(sorted(methods))
        if may(request.user, name, method=request.method or ""):
            return None
        if role_of(request.user) == "anonymous":
            return redirect_to_login(request.get_full_path())
        raise PermissionDenied(_("Your role does not open this page. Ask the supervisor or administrator."))


def is_api_view(view: Any) -> bool:
    """Whether DRF's own checks run before the view does; RoutePermission is among them unless a view opts out."""
    return getattr(getattr(view, "cls", None), "permission_classes", None) is not None


class RoutePermission(BasePermission):
    """The same table for the API, after the token or session has said who asks."""

    def has_permission(self, request: Any, view: Any) -> bool:
        match = request.resolver_match
        return may(request.user, match.view_name if match else "", method=request.method)
