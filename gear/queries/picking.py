"""Whom and what a person may choose from: holders, witnesses."""

from __future__ import annotations

import re
from collections.abc import Iterable

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When

from gear.models import Holder, Item, User
from gear.rules.entries import HOLDER_KINDS
from gear.rules.gearbook import GearRow


def holders_for(kinds: Iterable[str], *, words: str = "") -> QuerySet[Holder]:
    """Holders in use of these kinds, kind by kind in the order of HOLDER_KINDS and then by name.

    `words` narrows them to those whose name, crew or depot holds every word.
    """
    found = Holder.objects.filter(active=True, kind__in=list(kinds)).select_related("crew", "depot")
    for word in words.split()[:6]:
        found = found.filter(
            Q(name__icontains=word) | Q(crew__name__icontains=word) | Q(depot__name__icontains=word)
        )
    rank = Case(
        *(When(kind=kind, then=Value(place)) for place, kind in enumerate(HOLDER_KINDS)),
        output_field=IntegerField(),
    )
    return found.annotate(rank=rank).order_by("rank", "name", "pk")


def witnesses_for(by: User) -> QuerySet[User]:
    """Everybody on the list of people but the one who asks."""
    return (
        User.objects.filter(is_active=True)
        .exclude(pk=by.pk)
        .order_by("last_name", "first_name", "username", "pk")
    )


def next_item_no(item_no: str) -> str:
    """The next free number after one that ends in digits: G-00999 gives G-01000. Nothing where it ends otherwise."""
    ends = re.fullmatch(r"(.*?)([0-9]{1,9})", item_no)
    if ends is None:
        return ""
    head, count, width = ends[1], int(ends[2]), len(ends[2])
    taken = set(Item.objects.filter(item_no__startswith=head).values_list("item_no", flat=True))
    while (number := f"{head}{count:0{width}d}") in taken:
        count += 1
    return number


def serial_taken(row: GearRow, *, but: Item) -> str:
    """The number of another item with the serial, maker and hand that a row states; nothing where there is none."""
    if not row.serial:
        return ""
    found = Item.objects.filter(serial=row.serial, hand=row.hand or "", item_type__maker=row.maker or "")
    return found.exclude(pk=but.pk).order_by("pk").values_list("item_no", flat=True).first() or ""
