"""The gate before every route: what no permission table lists is open to nobody.

Each app lists its routes in its own permissions module, as ROUTES: {url name: {method: roles}}. HEAD and OPTIONS
follow GET; a method that the row lacks is answered with 405. Pages are judged here, before their view runs; the API
by RoutePermission, once it knows who asks. What a signed-in person is refused is kept.
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
from django.utils.translation import gettext_lazy
from rest_framework.exceptions import APIException, MethodNotAllowed
from rest_framework.permissions import BasePermission

from gear.actions.acting import Act, keep_refusal
from gear.permissions import ANYONE, EVERYONE
from gear.site import errors

Roles = frozenset[str]
APPS = ("gear", "inspections", "reports")
OWN_ROUTES: Mapping[str, Mapping[str, Roles]] = {
    "login": {"GET": ANYONE, "POST": ANYONE},
    "logout": {"POST": EVERYONE},
    "admin_login": {"GET": ANYONE},
    "healthz": {"GET": ANYONE},
    "readyz": {"GET": ANYONE},
}
ADMINISTRATOR = frozenset({"administrator"})
# The admin site is for looking. Its own page for passwords would change one without an entry.
ADMIN_SITE: Mapping[str, Roles] = {"GET": ADMINISTRATOR}
ADMIN_EXCEPTIONS: Mapping[str, Mapping[str, Roles]] = {
    "admin:logout": {"POST": EVERYONE},
    "admin:password_change": {},
    "admin:password_change_done": {},
}
CLOSED = gettext_lazy("Your role does not open this page. Ask the supervisor or administrator.")


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
        return ADMIN_EXCEPTIONS.get(name, ADMIN_SITE)
    return routes().get(name, {})


def role_of(user: Any) -> str:
    """The role that counts: a person who was deactivated has none left but the visitor's."""
    if user is None or not user.is_authenticated or not user.is_active:
        return "anonymous"
    return user.role


def may(user: Any, name: str, *, method: str = "GET") -> bool:
    """Whether the row of a route names the person's role for the method."""
    return role_of(user) in methods_of(name).get(_followed(method), frozenset())


def can_open(user: Any, name: str) -> bool:
    """Whether the person may look at the page of that name: for menus, which show no closed doors."""
    return may(user, name)


def is_unknown_method(name: str, method: str) -> bool:
    """Whether a listed route has no row for the method, whoever asks."""
    methods = methods_of(name)
    return bool(methods) and _followed(method) not in methods


def is_open_to_all(name: str, method: str) -> bool:
    """Whether the row of a route names everybody, visitors included."""
    return methods_of(name).get(_followed(method)) == ANYONE


def _followed(method: str) -> str:
    return "GET" if method in ("HEAD", "OPTIONS") else method


class Gate:
    """Middleware: a page opens only for the roles that its row names."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, *_arguments: Any) -> HttpResponseBase | None:
        name, method = _name_of(request), request.method or ""
        if is_api_view(view):
            return None
        if is_unknown_method(name, method):
            return HttpResponseNotAllowed(sorted({*methods_of(name), "OPTIONS"}))
        # Before asking who: what is open to all is answered even while the table of sessions is not.
        if is_open_to_all(name, method) or may(request.user, name, method=method):
            return None
        # Signing in opens no route that nobody listed, so no visitor is led to believe it would.
        if role_of(request.user) == "anonymous" and methods_of(name):
            if request.path.startswith(errors.API):
                return errors.sign_in_first(request)
            return redirect_to_login(request.get_full_path())
        keep_closed_door(request, user=request.user)
        raise PermissionDenied(CLOSED)


def is_api_view(view: Any) -> bool:
    """Whether RoutePermission judges the request inside the view; a view of DRF without it is judged as a page is."""
    classes = getattr(getattr(view, "cls", None), "permission_classes", ())
    return RoutePermission in getattr(view, "initkwargs", {}).get("permission_classes", classes)


def keep_closed_door(request: Any, *, user: Any) -> None:
    """Keep that a signed-in person tried a route that is closed to the role. Visitors leave no rows behind."""
    if role_of(user) == "anonymous":
        return
    via = "api" if request.path.startswith(errors.API) else "web"
    path = "".join(symbol for symbol in request.path if symbol.isprintable())
    keep_refusal(
        f"{request.method} {_name_of(request)}",
        path,
        Act(user, via=via),
        code="ROLE",
        detail=_("The role %(role)s does not open this route.") % {"role": user.role},
    )


def _name_of(request: Any) -> str:
    match = request.resolver_match
    return match.view_name if match else ""


class SignInFirst(APIException):
    """Nobody is signed in and no valid token was sent."""

    status_code = 401
    default_code = "not_authenticated"
    default_detail = gettext_lazy("Sign in, or send a valid token.")
    auth_header = "Token"  # a 401 has to say how one may identify: RFC 9110, 15.5.2


class RoutePermission(BasePermission):
    """The same table for the API, after the token or session has said who asks."""

    message = gettext_lazy("Your role does not open this. Ask the supervisor or administrator.")

    def has_permission(self, request: Any, view: Any) -> bool:
        name = _name_of(request)
        if is_unknown_method(name, request.method):
            raise MethodNotAllowed(request.method)
        if may(request.user, name, method=request.method):
            return True
        if role_of(request.user) == "anonymous" and methods_of(name):
            raise SignInFirst
        # DRF describes an address by asking whether other methods would be allowed: nobody was refused then.
        if request.method == request._request.method:
            keep_closed_door(request, user=request.user)
        # Not False: DRF would turn that into a call to sign in for a visitor to a route that nobody listed.
        raise PermissionDenied(str(self.message))
