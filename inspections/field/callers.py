"""Which device asks, and who uses it."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.http import HttpRequest, JsonResponse
from django.utils import timezone

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
