"""Which device asks, and who uses it."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db.models import Q, QuerySet
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.actions.acting import Act
from gear.models import Depot, User
from gear.permissions import WORKING
from gear.views.visitors import address_of
from inspections.actions import devices
from inspections.field import signing
from inspections.models import Device

LONGEST_BODY = 4096  # bytes
NONCE = re.compile(r"[A-Za-z0-9_-]{8,64}")
COOKIE = "__Host-device" if settings.BASE_URL.startswith("https://") else "device"


class NotEnrolled(Exception):
    """The device is not known here. It may keep no data and send none."""


class Revoked(Exception):
    """The device was revoked: it is told to wipe what it holds."""


@dataclass(frozen=True)
class Caller:
    """The device, and the person signed in on it; nobody on a shared tablet, where each record names its person.

    `tried` holds the PINs that were tried while one request is answered, and lives no longer.
    """

    device: Device
    person: User | None
    tried: dict[tuple[str, str], Any] = field(default_factory=dict, compare=False, repr=False)


def caller_of(request: HttpRequest) -> Caller:
    """Who asks. Raises NotEnrolled or Revoked."""
    key = request.COOKIES.get(COOKIE, "")
    device = devices.by_key(key) if key else None
    if device is None:
        raise NotEnrolled
    if device.revoked_at is not None:
        raise Revoked
    if device.kind == "own" and request.user.is_authenticated and request.user.is_active:
        return Caller(device, request.user)
    return Caller(device, None)


def checked_caller(request: HttpRequest) -> Caller | JsonResponse:
    """Who asks, or the answer that says why nothing is told: never 401 or 403, which proxies and pages answer too.

    Whoever was deactivated reads nothing more: their own phone counts as revoked.
    """
    try:
        caller = caller_of(request)
    except NotEnrolled:
        return refused("NO_DEVICE", _("This device is not enrolled here. Enrol it first."))
    except Revoked:
        return revoked(request)
    owner = caller.device.person
    if caller.device.kind == "own" and owner is not None and caller.person != owner:
        if not owner.is_active:
            return revoked(request)
        return refused("SIGN_IN", _("Sign in as %s, to whom this phone belongs.") % owner.name)
    devices.seen(caller.device, now=timezone.now())
    return caller


def checked_sender(request: HttpRequest) -> Caller | JsonResponse:
    """As `checked_caller`, but an own phone whose person was deactivated may still send what it holds as evidence.

    Of a revoked device nothing is taken but how many records it says it never sent.
    """
    try:
        caller = caller_of(request)
    except NotEnrolled:
        return checked_caller(request)
    except Revoked:
        devices.keep_lost(request.COOKIES.get(COOKIE, ""), unsent=_unsent(request))
        return revoked(request)
    owner = caller.device.person
    if caller.device.kind == "own" and owner is not None and not owner.is_active:
        return caller
    return checked_caller(request)


def _unsent(request: HttpRequest) -> int | None:
    try:
        stated = json.loads(request.body).get("unsent")
    except (ValueError, RecursionError, AttributeError):
        return None
    return stated if type(stated) is int and 0 <= stated < 10**6 else None


def refused(code: str, message: object) -> JsonResponse:
    """A refusal that the phone reads: `code` is stable, the message is for the person."""
    return JsonResponse({"refused": code, "message": str(message)}, status=409)


def revoked(request: HttpRequest) -> JsonResponse:
    """That the device was revoked: signed where the question has a number, since the phone wipes itself for no less."""
    told = {"refused": "REVOKED", "message": _("This device was revoked.")}
    nonce = request.GET.get("nonce", "")
    if NONCE.fullmatch(nonce):
        stated = {"v": 1, "what": "revoked", "installation": signing.installation(), "nonce": nonce}
        told |= signing.signed(stated)
    answer = JsonResponse(told, status=410)
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


def enrol(request: HttpRequest) -> JsonResponse:
    """What this device is, and who uses it. Makes it known first: by a code, or as the phone of who is signed in.

    Asking again changes nothing; a phone whose person changed becomes another device, under a key of its own.
    """
    stated = sent(request)
    code, version = (str(stated.get(name) or "")[:40] for name in ("code", "version"))
    if code:
        return _by_code(request, code)
    person = request.user if request.user.is_authenticated else None
    known: Caller | None = None
    try:
        known = caller_of(request)
    except Revoked:
        if person is None or not devices.signed_in_since(person, _revoked_at(request)):
            return revoked(request)
    except NotEnrolled:
        pass
    if known and (known.device.kind == "shared" or person in (None, known.device.person)):
        owner = known.device.person
        if owner is not None and not owner.is_active:
            return revoked(request)
        devices.seen(known.device, now=timezone.now(), version=version)
        return JsonResponse(_told(known))
    if person is None or person.role not in WORKING:
        return refused("NO_DEVICE", _("Sign in on this phone, or enrol it with a code from the tool room."))
    device, key = devices.enrol_own(person, now=timezone.now(), version=version, act=Act(person, via="field"))
    return _with_key(JsonResponse(_told(Caller(device, person))), key)


def _by_code(request: HttpRequest, code: str) -> JsonResponse:
    try:
        device, key = devices.enrol_shared(code, address=address_of(request), now=timezone.now())
    except devices.DeviceRefused as problem:
        return refused(problem.code, str(problem))
    return _with_key(JsonResponse(_told(Caller(device, None))), key)


def _revoked_at(request: HttpRequest) -> datetime:
    device = devices.by_key(request.COOKIES.get(COOKIE, ""))
    return device.revoked_at if device and device.revoked_at else timezone.now()


def _told(caller: Caller) -> dict[str, Any]:
    """What a device is told of itself and of who uses it."""
    device, person = caller.device, caller.person
    return {
        "device": {
            "name": device.name,
            "kind": device.kind,
            "depot": device.depot.name if device.depot else "",
        },
        "person": told_person(person) if person else None,
        "owner": device.person.name if device.person else "",
        "people": [] if device.kind == "own" else [told_person(one) for one in people_at(device.depot)],
    }


def people_at(depot: Depot | None) -> QuerySet[User]:
    """Who may confirm on a shared tablet of a depot, by name: its people and those of its crews; all of them where the
    tablet has no depot. Anybody else of the organisation confirms by their whole username."""
    found = User.objects.filter(is_active=True, role__in=WORKING).select_related("crew", "holder")
    if depot is not None:
        anywhere = Q(depot=None) & (Q(crew=None) | Q(crew__depot=None))
        found = found.filter(Q(depot=depot) | Q(depot=None, crew__depot=depot) | anywhere)
    return found.order_by("first_name", "last_name", "username")


def told_person(person: User) -> dict[str, str]:
    """A person as the phone knows them. `holder` is the name under which gear is recorded with them; `crew` says which
    trucks are theirs, also for somebody without gear."""
    held_by = getattr(person, "holder", None)
    return {
        "username": person.username,
        "name": person.name,
        "holder": held_by.name if held_by else person.name,
        "role": person.role,
        "crew": person.crew.name if person.crew else "",
        "badge": person.badge or "",
    }


def _with_key(answer: JsonResponse, key: str) -> JsonResponse:
    answer.set_cookie(
        COOKIE,
        key,
        max_age=devices.KEPT_FOR,
        httponly=True,
        secure=settings.SESSION_COOKIE_SECURE,
        samesite="Lax",
    )
    return answer


def sent(request: HttpRequest) -> dict[str, Any]:
    """The JSON object of a small request; empty where there is none that can be read."""
    try:
        body = json.loads(request.body) if len(request.body) <= LONGEST_BODY else None
        return body if isinstance(body, dict) and keepable(body) else {}
    except (ValueError, RecursionError):
        return {}


def keepable(stated: object) -> bool:
    """Whether a database can look for, and keep, every text of what was sent."""
    shown = json.dumps(stated, ensure_ascii=False)
    return "\\u0000" not in shown and not any("\ud800" <= symbol <= "\udfff" for symbol in shown)
