"""Phones and tablets: made known, named, revoked, never deleted. Every change is an entry of the site's own record."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta
from uuid import UUID, uuid5

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions
from gear.actions import condition, tries
from gear.actions.acting import Act, Refused, keep_refusal, keeping_refusals
from gear.actions.people import end_sessions, note_change
from gear.actions.refusals import FieldRefused
from gear.models import Depot, Entry, Item, User
from gear.rules.codes import ALPHABET
from inspections.models import Device

KEPT_FOR = timedelta(days=400)  # the longest that browsers keep a cookie
CODE_SYMBOLS = 8  # 23**8 is 7.8e10; at 20 tries a minute, a guesser finds one of ten open codes in centuries
CODE_COUNTS_FOR = timedelta(minutes=15)
CODE_TRIES = {"address": 5, "anywhere": 20}
SEEN_EVERY = timedelta(minutes=1)  # a device that asks often is not written down each time


class DeviceRefused(FieldRefused):
    """A change to devices that may not be made."""

    SENTENCES = {
        "NAME_TAKEN": ("name", gettext_lazy("Another device has this name. Tell them apart by a number.")),
        "CODE_WRONG": (
            "code",
            gettext_lazy("This code does not count, or no longer. Ask the clerk to show a new one."),
        ),
        "TOO_MANY_TRIES": ("code", gettext_lazy("Too many tries. Wait a minute, then try again.")),
        "ALREADY_REVOKED": ("", gettext_lazy("This device was revoked already. Nothing was changed.")),
        "NOT_SHARED": ("", gettext_lazy("Only a shared tablet is enrolled by a code.")),
    }


def digest_of(key: str) -> str:
    """What is kept of a key or a code: its SHA-256. Both are random, so nothing slower is needed."""
    return hashlib.sha256(key.encode()).hexdigest()


def by_key(key: str) -> Device | None:
    """The device with that key, revoked or not."""
    return Device.objects.select_related("person", "depot").filter(digest=digest_of(key)).first()


def add_shared(name: str, *, depot: Depot | None, act: Act) -> tuple[Device, str]:
    """(a new shared tablet, the code that enrols it once within 15 minutes). Raises DeviceRefused or NotAllowed."""
    with keeping_refusals("manage_devices", name, act):
        _check_may(act.by, depot)
        if Device.objects.filter(name__iexact=name).exists():
            raise DeviceRefused("NAME_TAKEN")
        device = Device(name=name, kind="shared", depot=depot, added_at=timezone.now(), added_by=act.by)
        code = _give_code(device)
        _note(act, "device_added", device)
        return device, code


def new_code(device: Device, *, act: Act) -> tuple[Device, str]:
    """Another code for a shared tablet: for one whose code ran out, or that lost its key. Its use ends the old key."""
    with keeping_refusals("manage_devices", device.name, act):
        device = _locked(device, act)
        if device.kind != "shared":
            raise DeviceRefused("NOT_SHARED")
        code = _give_code(device)
        _note(act, "device_code", device)
        return device, code


def enrol_shared(code: str, *, address: str, now: datetime) -> tuple[Device, str]:
    """(the tablet that the code was made for, its new key). A code counts once. Raises DeviceRefused."""
    act = Act(None, via="field")
    budgets = {
        f"enrolment from {address}": CODE_TRIES["address"],
        "enrolment anywhere": CODE_TRIES["anywhere"],
    }
    held = tries.take(budgets, now=now.timestamp())
    with keeping_refusals("enrol_device", "", act):
        if held is None:
            raise DeviceRefused("TOO_MANY_TRIES")
        typed = "".join(symbol for symbol in code.upper() if symbol in ALPHABET)
        device = (
            Device.objects.select_for_update(of=("self",))
            .select_related("depot")
            .filter(enrol_digest=digest_of(typed), enrol_until__gt=now, revoked_at=None)
            .first()
        )
        if device is None or len(typed) != CODE_SYMBOLS:
            raise DeviceRefused("CODE_WRONG")
        key = secrets.token_urlsafe(32)
        device.digest, device.enrolled_at = digest_of(key), now
        device.enrol_digest, device.enrol_until = "", None
        device.save()
        _note(act, "device_enrolled", device)
    tries.give_back(held)
    return device, key


def enrol_own(person: User, *, now: datetime, version: str = "", act: Act) -> tuple[Device, str]:
    """(the phone of a person, its key): made known by its person signing in on it."""
    with keeping_refusals("enrol_device", person.username, act):
        key = secrets.token_urlsafe(32)
        device = Device.objects.create(
            name=f"{person.name[:60]} {secrets.token_hex(3)}",
            kind="own",
            person=person,
            depot=person.depot or (person.crew.depot if person.crew else None),
            digest=digest_of(key),
            added_at=now,
            added_by=person,
            enrolled_at=now,
            last_seen_at=now,
            version=version,
        )
        _note(act, "device_enrolled", device)
        return device, key


def revoke(device: Device, *, act: Act) -> Device:
    """Bar a device: it gets nothing and delivers nothing from now on, and wipes itself on its next contact."""
    with keeping_refusals("manage_devices", device.name, act):
        device = _locked(device, act)
        if device.revoked_at is not None:
            raise DeviceRefused("ALREADY_REVOKED")
        device.revoked_at, device.revoked_by = timezone.now(), act.by
        device.enrol_digest, device.enrol_until = "", None
        device.save()
        if device.person is not None:
            end_sessions(device.person)  # whoever found the phone must not read on in the pages
        _note(act, "device_revoked", device, note=f"unsent: {device.unsent}")
        return device


def signed_in_since(person: User, moment: datetime) -> bool:
    """Whether a person gave their password after a moment: a phone that was revoked may then become theirs anew."""
    return person.last_login is not None and person.last_login > moment


def seen(device: Device, *, now: datetime, version: str = "") -> None:
    """Note that a device was heard of, and which release of the client it runs where it says so."""
    fresh = device.last_seen_at is not None and timedelta(0) <= now - device.last_seen_at < SEEN_EVERY
    if fresh and version in ("", device.version):
        return
    device.last_seen_at, device.version = now, version or device.version
    Device.objects.filter(pk=device.pk).update(last_seen_at=now, version=device.version)


def keep_lost(key: str, *, unsent: int | None) -> None:
    """Keep, once a minute at most, that a revoked device tried to deliver, and how many records it said it holds."""
    device, now = by_key(key), timezone.now()
    if device is None or tries.take({f"revoked {device.pk}": 1}, now=now.timestamp()) is None:
        return
    told = _("not said how many") if unsent is None else str(unsent)
    detail = _("A revoked device tried to send. Records it never sent: %s.") % told
    act = Act(None, via="field", device=device.name)
    keep_refusal("field_record", device.name, act, code="REVOKED", detail=detail)


def keep_wiped(device: Device, *, unsent: int, act: Act) -> None:
    """Keep that somebody wiped a device by hand, and how many records nobody will ever get from it.

    Once a minute at most: whoever may send could otherwise fill the record with it.
    """
    if tries.take({f"wiped {device.pk}": 1}, now=timezone.now().timestamp()) is None:
        return
    detail = _("The device was wiped by hand. Records it had not sent: %s.") % unsent
    keep_refusal("field_record", device.name, act, code="WIPED", detail=detail)


def hold_unconfirmed(item: Item, *, record_id: UUID, what: str, device: Device) -> Entry | None:
    """Hold a piece in nobody's name because a device reported it out of use and no PIN confirmed the report.

    The same report holds it once. None where the piece can be held no more: it is rejected or destroyed.
    """
    hold_id = uuid5(record_id, "unconfirmed")
    reason = _("Reported on %(device)s (%(what)s). Nobody has confirmed it with a PIN yet.") % {
        "device": device.name,
        "what": what,
    }
    found = Entry.objects.filter(pk=hold_id).first()
    if found is None:
        try:
            act = Act(None, via="field", device=device.name, id=hold_id)
            found = condition.hold(item, reason=reason, act=act)
        except Refused:
            return None
    return found


def _give_code(device: Device) -> str:
    code = "".join(secrets.choice(ALPHABET) for _symbol in range(CODE_SYMBOLS))
    device.enrol_digest, device.enrol_until = digest_of(code), timezone.now() + CODE_COUNTS_FOR
    device.save()
    return code


def _locked(device: Device, act: Act) -> Device:
    device = (
        Device.objects.select_for_update(of=("self",)).select_related("depot", "person").get(pk=device.pk)
    )
    _check_may(act.by, device.depot)
    return device


def _check_may(by: User | None, depot: Depot | None) -> None:
    permissions.check_can(by, "manage_devices")
    if by is not None and (bound := permissions.bound_to(by)) and bound != depot:
        raise permissions.NotAllowed(_("You manage the devices of %(depot)s only.") % {"depot": bound.name})


def _note(act: Act, change: str, device: Device, *, note: str = "") -> None:
    told = f"{device.name}; {device.kind}; depot: {device.depot or '-'}"
    note_change(act, change, person=device.person, note=f"{told}; {note}" if note else told)
