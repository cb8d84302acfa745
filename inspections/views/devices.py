"""Phones and tablets: when each was last heard of, a code for a new one, and barring one that is lost."""

from __future__ import annotations

from datetime import datetime
from typing import Any, cast

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.timesince import timesince
from django.utils.translation import gettext as _

from gear import permissions
from gear.actions.acting import REFUSALS, Act
from gear.labels.text import square
from gear.models import User
from gear.permissions import bound_to
from gear.views.sending import refused_in
from inspections.actions import devices as acting
from inspections.forms.devices import TabletForm
from inspections.models import DEVICE_NAMES, Device
from inspections.queries.devices import MOST_SHOWN, STALE_AFTER, devices_in

SKEW_SHOWN_S = 120  # as far as an entry may lie in the future


def devices(request: HttpRequest) -> HttpResponse:
    """Every device this person may see; for whoever manages them, a shared tablet more and the code that enrols it."""
    by = cast(User, request.user)
    may_change = permissions.can(by, "manage_devices")
    if request.method != "POST":
        return _list(request, TabletForm(by=by) if may_change else None)
    form = TabletForm(request.POST, by=by)
    if not form.is_valid():
        return _list(request, form, status=422)
    try:
        device, code = acting.add_shared(**form.cleaned_data, act=Act(by))
    except REFUSALS as error:
        return _list(request, form, status=refused_in(form, error))
    return _code(request, device, code)


def device(request: HttpRequest, pk: int) -> HttpResponse:
    """What is done to one device: another code, or barred."""
    by = cast(User, request.user)
    found = get_object_or_404(devices_in(bound_to(by)), pk=pk)
    try:
        if request.POST.get("do") == "code":
            return _code(request, *acting.new_code(found, act=Act(by)))
        acting.revoke(found, act=Act(by))
        messages.success(
            request, _("%s is revoked. It wipes itself when it next finds the network.") % found.name
        )
    except REFUSALS as error:
        messages.error(request, str(error))
    return redirect("devices")


def _code(request: HttpRequest, made: Device, code: str) -> HttpResponse:
    """The code, shown this once: it is kept as a hash."""
    address = f"{settings.BASE_URL.rstrip('/')}{reverse('field')}#device/{code}"
    page = {
        "title": _("Enrol %s") % made.name,
        "device": made,
        "code": f"{code[:4]}-{code[4:]}",
        "address": address,
        "square": square(address),
        "until": timezone.localtime(made.enrol_until) if made.enrol_until else None,
    }
    return render(request, "inspections/device_code.html", page)


def _list(request: HttpRequest, form: TabletForm | None, *, status: int = 200) -> HttpResponse:
    by, now = cast(User, request.user), timezone.now()
    found = list(devices_in(bound_to(by))[:MOST_SHOWN])
    page = {
        "title": _("Phones and tablets"),
        "form": form,
        "rows": [_row(one, now) for one in found if one.revoked_at is None],
        "barred": [one for one in found if one.revoked_at is not None],
        "may_change": permissions.can(by, "manage_devices"),
    }
    return render(request, "inspections/devices.html", page, status=status)


def _row(one: Device, now: datetime) -> dict[str, Any]:
    heard = one.last_seen_at
    return {
        "device": one,
        "kind": DEVICE_NAMES[one.kind],
        "whose": one.person.name if one.person else (one.depot.name if one.depot else ""),
        "open": one.enrolled_at is None,
        "heard": _("%s ago") % timesince(heard, now, depth=1) if heard else "",
        "synced": _("%s ago") % timesince(one.last_sync_at, now, depth=1) if one.last_sync_at else "",
        "stale": one.enrolled_at is not None and (heard is None or now - heard > STALE_AFTER),
        "skew": one.skew_s if abs(one.skew_s) > SKEW_SHOWN_S else 0,
    }
