"""What may stand in for a piece that was just taken out of use, asked while the network is there."""

from __future__ import annotations

from django.http import HttpRequest, JsonResponse

from gear import queries
from gear.models import Item
from gear.queries.replacements import replacements_for
from inspections.field import callers


def replacements(request: HttpRequest, item_no: str) -> JsonResponse:
    """`{"offers": [...]}`, the nearest first: a hint, which is scanned before it is used. No names of people."""
    caller = callers.checked_caller(request)
    if isinstance(caller, JsonResponse):
        return caller
    item = (
        Item.objects.select_related("item_type", "state__gear_set")
        .filter(item_no=item_no.replace("\x00", ""))
        .first()
    )
    found = replacements_for(item, queries.question()) if item else []
    return JsonResponse({"offers": [one.as_json() for one in found]})
