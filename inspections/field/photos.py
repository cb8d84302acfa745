"""Photos from phones: each once, apart from its record, as soon as the record is known."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.http import HttpRequest, JsonResponse
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext_lazy

from gear.actions import photos
from gear.actions.photos import PhotoRefused
from gear.models import Entry
from gear.rules.photos import MOST_BYTES
from inspections.field import callers
from inspections.field.callers import Caller

NOT_YET = gettext_lazy("The record of this photo is not here yet. The photo waits on the phone.")
# code: status. Whatever is not here is the sender's mistake, and no second try will mend it.
STATUS = {"TOO_LARGE": 413, "TOO_MANY_PIXELS": 413, "TOO_MANY_TODAY": 429, "NO_ROOM": 507}
_FORM = 64 * 1024  # what the parts around the photo may take


def upload(request: HttpRequest) -> JsonResponse:
    """Take one photo of a record that came before it.

    A form with `id`, `record`, `taken_at` and the file `photo`. 201 recorded, 200 already; 409 NO_RECORD_YET for a
    record that is not here yet: the phone keeps the photo and tries again.
    """
    caller = callers.checked_sender(request)
    if isinstance(caller, JsonResponse):
        return caller
    if int(request.headers.get("Content-Length") or 0) > MOST_BYTES + _FORM:
        return _refused(PhotoRefused("TOO_LARGE"))
    file = request.FILES.get("photo")
    named = _uuid(request.POST.get("id")), _uuid(request.POST.get("record"))
    if file is None or named[0] is None or named[1] is None:
        return _refused(PhotoRefused("NOT_A_PHOTO"))
    entry = _entry(named[1], caller)
    if entry is None:
        return callers.refused("NO_RECORD_YET", NOT_YET)
    taken_at = _moment(request.POST.get("taken_at"))
    try:
        data = file.read(MOST_BYTES + 1)
        row, is_new = photos.keep(
            data, photo_id=named[0], entry=entry, taken_at=taken_at, device=caller.device.name
        )
    except PhotoRefused as error:
        return _refused(error)
    outcome = "recorded" if is_new else "already"
    return JsonResponse({"id": str(row.pk), "outcome": outcome}, status=201 if is_new else 200)


def _entry(record: UUID, caller: Caller) -> Entry | None:
    """The entry of a record that this device or this person made; another's looks like one that is not here."""
    entry = Entry.objects.select_related("item", "by").filter(pk=record, item__isnull=False).first()
    if entry is None:
        return None
    own = caller.person is not None and entry.by_id == caller.person.pk
    return entry if own or entry.device == caller.device.name else None


def _refused(error: PhotoRefused) -> JsonResponse:
    return JsonResponse({"refused": error.code, "message": str(error)}, status=STATUS.get(error.code, 422))


def _uuid(text: str | None) -> UUID | None:
    try:
        return UUID(text or "")
    except ValueError:
        return None


def _moment(text: str | None) -> datetime | None:
    """What the phone says, where it says a moment with its offset."""
    try:
        moment = parse_datetime((text or "").strip())
    except ValueError:
        return None
    return moment if moment and moment.tzinfo else None
