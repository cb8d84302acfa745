"""Signing in and out."""

import json
import logging
import time
from ipaddress import ip_address
from typing import Any

from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from gear.site import throttle

logger = logging.getLogger(__name__)


class SignInForm(AuthenticationForm):
    """Name and password, with the same words for an unknown name, a wrong password and a person who left."""

    error_messages = {
        "invalid_login": _("Name and password do not match. Both tell capital letters apart."),
        "inactive": _("Name and password do not match. Both tell capital letters apart."),
    }
    seconds_to_wait = 0

    def clean(self) -> dict[str, Any]:
        account = self.cleaned_data.get("username")
        if self.request is None:
            raise TypeError("SignInForm needs the request: tries are counted by its address.")
        address = address_of(self.request)
        if not account or not self.cleaned_data.get("password"):
            return self.cleaned_data
        try:
            attempt = throttle.take(account=account, address=address, now=time.time())
        except throttle.WaitFirst as problem:
            self.seconds_to_wait = problem.seconds
            logger.warning("sign-in slowed: account %r, address %s", account[:150], address)
            raise ValidationError(_too_many(problem.seconds), code="wait") from problem
        cleaned = super().clean()
        attempt.give_back()
        return cleaned


class SignIn(LoginView):
    template_name = "gear/login.html"
    authentication_form = SignInForm

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        response = super().form_invalid(form)
        if isinstance(form, SignInForm) and form.seconds_to_wait:
            response.status_code = 429
            response.headers["Retry-After"] = str(form.seconds_to_wait)
        return response

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        # Django names a page after the host that was asked.
        ours = {
            "site_name": settings.SITE_NAME,
            "demo_people": _demo_people(),
            "anyone_may_check": not getattr(settings, "ANSWER_NEEDS_SIGN_IN", False),
        }
        return {**super().get_context_data(**kwargs), **ours}


def address_of(request: HttpRequest) -> str:
    """The visitor's address. A proxy on this machine is believed about the last hop that it saw, no other is."""
    address = request.META.get("REMOTE_ADDR", "")
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2].strip()
    if forwarded and (not address or _is_loopback(address)):
        return forwarded[:64]
    return address


def _is_loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False


def _too_many(seconds: int) -> str:
    return ngettext(
        "Too many tries. Wait %(seconds)d second, then try again.",
        "Too many tries. Wait %(seconds)d seconds, then try again.",
        seconds,
    ) % {"seconds": seconds}


def _demo_people() -> list[dict[str, str]]:
    """The invented people of the demo with their published passwords; nobody anywhere else."""
    path = settings.DATA_DIR / "demo_people.json"
    if not settings.DEMO or not path.exists():
        return []
    return json.loads(path.read_text(encoding="utf-8"))
