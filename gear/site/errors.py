"""What a visitor sees when something is refused or breaks: what happened, what is kept, what to do next."""

import sys
from typing import Any

from django.conf import settings
from django.db import DatabaseError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import get_template
from django.utils.functional import Promise
from django.utils.translation import gettext as _

API = "/api/"
SQLITE_DAMAGED = (11, 26)  # SQLITE_CORRUPT, SQLITE_NOTADB: sqlite.org/rescode.html


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _answer(request, 400, code="bad_request", title=_("This request cannot be read"))


def sign_in_first(request: HttpRequest) -> HttpResponse:
    return _answer(request, 401, code="not_authenticated", title=_("Sign in first"), template="gear/403.html")


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _answer(request, 403, code="forbidden", title=_("Not open to you"), reason=_sentence(exception))


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _answer(request, 404, code="not_found", title=_("No such page"), reason=_sentence(exception))


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    return _answer(
        request, 403, code="form_expired", title=_("This form is too old"), template="gear/csrf.html"
    )


def server_error(request: HttpRequest) -> HttpResponse:
    """A broken request; 503 where the database did not answer, since a later try may pass."""
    status = 503 if _is_of_the_database(sys.exc_info()[1]) else 500
    response = _answer(
        request, status, code="broken", title=_("Something broke here"), template="gear/500.html"
    )
    if status == 503:
        response.headers["Retry-After"] = "10"
    return response


def _is_of_the_database(error: BaseException | None) -> bool:
    """It did not answer, or its file is damaged: not a fault of the request, nor of this program."""
    if isinstance(error, DatabaseError):
        damage = getattr(error.__cause__, "sqlite_errorcode", 0) & 0xFF in SQLITE_DAMAGED
        return damage or isinstance(error, OperationalError)
    return False


def _sentence(exception: Exception | None) -> str:
    """What the view said, where it said it in words; the router's own notes are no business of a visitor."""
    said = exception.args[0] if exception and exception.args else ""
    return str(said) if isinstance(said, str | Promise) else ""


def _answer(
    request: HttpRequest, status: int, *, code: str, title: str, template: str = "", reason: str = ""
) -> HttpResponse:
    if request.path.startswith(API):
        return JsonResponse(
            {"error": {"code": code, "message": reason or title, "fields": {}}}, status=status
        )
    page = get_template(template or f"gear/{status}.html")
    # A broken database must not break the page that says so: no session, no person, no query.
    context: dict[str, Any] = {
        "DEMO": settings.DEMO,
        "site_name": settings.SITE_NAME,
        "title": title,
        "reason": reason,
    }
    return HttpResponse(page.render(context), status=status)
