"""Which item somebody means who types or scans a number, a label code or a serial."""

from __future__ import annotations

from dataclasses import dataclass

from gear.models import Item, ItemState, Label
from gear.rules import codes


@dataclass(frozen=True)
class Meant:
    """The items that fit, in order of item number, and whether they were named by a label that was replaced."""

    items: tuple[Item, ...] = ()
    old_label: bool = False

    @property
    def item(self) -> Item | None:
        """The item, where exactly one fits."""
        return self.items[0] if len(self.items) == 1 else None


MOST = 20


def meant_by(text: str, *, base_url: str) -> Meant:
    """An item number wins over a label code, a label code over a serial; at most 20 items of one serial are given.

    Meant for people in front of the piece: whoever asks for a verdict goes by the label alone.
    """
    typed = " ".join(text.replace("\x00", "").split())[:300]
    if not typed:
        return Meant()
    for number in dict.fromkeys((typed, typed.upper())):
        if found := Item.objects.filter(item_no=number).first():
            return Meant((found,))
    read = codes.normalise(typed, base_url=base_url)
    if read.code and (label := Label.objects.select_related("item").filter(code=read.code).first()):
        in_force = ItemState.objects.filter(pk=label.item_id).values_list("label", flat=True).first()
        return Meant((label.item,), in_force != read.code)
    return Meant(tuple(Item.objects.filter(serial=typed).order_by("item_no", "pk")[:MOST]))
