"""Checks for the page Health: phones and tablets that fell silent, and the guards of bench sessions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from django.db import connection
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear.queries.health import AMBER, RED, WELL, Finding
from gear.queries.restored import put_back_at
from inspections import guards
from inspections.models import Device
from inspections.queries.devices import KEPT_ON_PHONES, STALE_AFTER

MOST_NAMED = 12


def check_devices(now: datetime) -> Iterator[Finding]:
    """When each was last heard of, and what it said then that it had not sent yet."""
    title = _("Phones and tablets")
    known = list(Device.objects.filter(revoked_at=None, enrolled_at__isnull=False).order_by("name"))
    silent = [one for one in known if now - (one.last_seen_at or one.enrolled_at or now) > STALE_AFTER]
    if waiting := [one for one in silent if one.unsent]:
        sentence = _(
            "Records wait unsent on what was not heard of for three days: %s. Find it and connect it."
        )
        yield Finding("DEVICE_UNSENT", RED, title, sentence % _listed(waiting), page="devices")
    if quiet := [one for one in silent if not one.unsent and one.kind == "shared"]:
        sentence = _(
            "Not heard of for three days: %s. Their answers are unknown by now; connect or revoke them."
        )
        yield Finding("DEVICE_SILENT", AMBER, title, sentence % _listed(quiet), page="devices")
    heard = [one for one in known if one not in silent and one.kind == "shared"]
    own = len(known) - sum(one.kind == "shared" for one in known)
    told = [_("Last heard of: %s.") % _listed(heard)] if heard else []
    if not known:
        told.append(_("None is in use."))
    elif own:
        told.append(_own_phones(own))
    if told:
        yield Finding("DEVICES", WELL, title, " ".join(told), page="devices")


def check_phones_after_restore(now: datetime) -> Iterator[Finding]:
    """Who has not come back since an older copy of the record was put in place: they keep what it may lack."""
    since = put_back_at()
    if since is None or now - since > KEPT_ON_PHONES:
        return
    silent = Q(last_seen_at=None) | Q(last_seen_at__lt=since)
    out = Device.objects.filter(silent, revoked_at=None, enrolled_at__lt=since).order_by("name")
    title, found = _("Phones after a restore"), list(out)
    if not found:
        sentence = _("Every phone and tablet was heard of since the record was put back.")
        yield Finding("PHONES_BACK", WELL, title, sentence, since, page="devices")
        return
    sentence = _(
        "Not heard of since the record was put back: %s. What they sent before may be missing here, and they send it "
        "again by themselves: open each where there is a network."
    )
    yield Finding("PHONES_NOT_BACK", AMBER, title, sentence % _listed(found), since, page="devices")


def _own_phones(count: int) -> str:
    return ngettext("%(count)d phone of a person.", "%(count)d phones of people.", count) % {"count": count}


def _listed(devices: Sequence[Device]) -> str:
    named = [_told(one) for one in devices[:MOST_NAMED]]
    more = len(devices) - len(named)
    return ", ".join([*named, *([_("and %s more") % more] if more else [])])


def _told(one: Device) -> str:
    at = one.last_sync_at or one.last_seen_at
    when = f"{timezone.localtime(at):%Y-%m-%d %H:%M}" if at else _("never")
    unsent = f", {_('%s unsent') % one.unsent}" if one.unsent else ""
    return f"{one.name} ({when}{unsent})"


def check_bench_guards(now: datetime) -> Iterator[Finding]:
    if names := guards.missing(connection):
        sentence = _(
            "Database triggers that keep a closed bench session as it was are missing: %s. Run manage.py migrate to "
            "put them back, and find out who removed them."
        )
        title = _("Guards of bench sessions")
        yield Finding("BENCH_TRIGGERS_MISSING", RED, title, sentence % ", ".join(names), bars=True)
