"""Which device asks, and who uses it."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.models import User
from inspections.models import Device

COOKIE = "__Host-device" if settings.BASE_URL.startswith("https://") else "device"
KEPT_FOR = timedelta(days=400)  # the longest that browsers keep a cookie


class NotEnrolled(Exception):
    """The device is not known here. It may keep no data and send none."""


class Revoked(Exception):
    """The device was revoked: it is told to wipe what it holds."""


@dataclass(frozen=True)
class Caller:
    """The device, and the person signed in on it; nobody on a shared tablet, where each record names its person."""

    device: Device
    person: User | None


def caller_of(request: HttpRequest) -> Caller:
    """Who asks. Raises NotEnrolled or Revoked."""
    key = request.COOKIES.get(COOKIE, "")
    device = (
        Device.objects.select_related("person", "depot").filter(digest=digest_of(key)).first()
        if key
        else None
    )
    if device is None:
        raise NotEnrolled
    if device.revoked_at is not None:
        raise Revoked
    person = request.user if request.user.is_authenticated and request.user.is_active else None
    return Caller(device, person)


def checked_caller(request: HttpRequest) -> Caller | JsonResponse:
    """Who asks, or the answer that says why nothing is told: never 401 or 403, which proxies and pages answer too."""
    try:
        caller = caller_of(request)
    except NotEnrolled:
        return refused("NO_DEVICE", _("This device is not enrolled here. Enrol it first."))
    except Revoked:
        return revoked()
    if caller.device.kind == "own" and (caller.person is None or caller.person.pk != caller.device.person_id):
        name = caller.device.person.name if caller.device.person else ""
        return refused("SIGN_IN", _("Sign in as %s, to whom this phone belongs.") % name)
    return caller


def checked_sender(request: HttpRequest) -> Caller | JsonResponse:
    """As `checked_caller`, but a phone whose person was deactivated may still send what it holds: it is evidence."""
    try:
        caller = caller_of(request)
    except (NotEnrolled, Revoked):
        return checked_caller(request)
    owner = caller.device.person
    if caller.device.kind == "own" and owner is not None and not owner.is_active:
        return caller
    return checked_caller(request)


def refused(code: str, message: object) -> JsonResponse:
    """A refusal that the phone reads: `code` is stable, the message is for the person."""
    return JsonResponse({"refused": code, "message": str(message)}, status=409)


def revoked() -> JsonResponse:
    answer = JsonResponse({"refused": "REVOKED", "message": _("This device was revoked.")}, status=410)
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


def digest_of(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()


def enrol(request: HttpRequest) -> JsonResponse:
    """Enrol the phone of the person who is signed in."""
    if not request.user.is_authenticated:
        return JsonResponse({"refused": "SIGN_IN"}, status=409)
    key, now = secrets.token_urlsafe(32), timezone.now()
    device = Device.objects.create(
        name=f"{request.user.name} {secrets.token_hex(3)}",
        kind="own",
        person=request.user,
        depot=request.user.depot,
        digest=digest_of(key),
        added_at=now,
        added_by=request.user,
        enrolled_at=now,
    )
    answer = JsonResponse({"device": device.name, "kind": device.kind})
    answer.set_cookie(
        COOKIE,
        key,
        max_age=KEPT_FOR,
        httponly=True,
        secure=settings.SESSION_COOKIE_SECURE,
        samesite="Lax",
    )
    return answer
