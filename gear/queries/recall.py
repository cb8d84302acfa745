"""Which pieces of the book a recall is about."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from gear.models import Item, ItemType
from gear.rules import recall
from gear.rules.recall import Notice

_COLUMNS = ("item_type__maker", "item_type__model", "lot", "made_on")


@dataclass(frozen=True)
class Recalled:
    """Primary keys of the pieces that belong, and how many may belong and are left out, by the fields they lack."""

    pks: tuple[int, ...]
    in_doubt: Mapping[tuple[str, ...], int]


def recalled(notice: Notice) -> Recalled:
    """Every piece of the book that the notice is about. One query; raises ValueError for a notice of everything."""
    pks: list[int] = []
    in_doubt: Counter[tuple[str, ...]] = Counter()
    for pk, *values in Item.objects.order_by("pk").values_list("pk", *_COLUMNS).iterator(chunk_size=2000):
        lacking = recall.missing(notice, dict(zip(recall.FIELDS, values, strict=True)))
        if lacking is None:
            continue
        if notice.includes(lacking):
            pks.append(pk)
        else:
            in_doubt[lacking] += 1
    return Recalled(tuple(pks), dict(in_doubt))


def names_on_file() -> dict[str, list[str]]:
    """The makers and models of the book, for choosing from."""
    return {
        name: list(
            ItemType.objects.exclude(**{name: ""}).order_by(name).values_list(name, flat=True).distinct()
        )
        for name in ("maker", "model")
    }
