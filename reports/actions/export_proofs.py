"""That rows were among those that seals cover, for an export that holds some rows and not all of them."""

from __future__ import annotations

import json
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from gear.ledger.seals import leaves_of_windows
from gear.models import Seal
from gear.rules.hashing import merkle_paths

AT_ONCE = 50  # seals whose rows are held in memory together


def proofs_of(leaves: Iterable[tuple[datetime, str]]) -> str:
    """JSON: {leaf: {"seal", "path"}}, the path as [side, hash] from the leaf up; `leaves` are moments and hashes.

    A leaf that no seal covers yet is not there.
    """
    seals = list(Seal.objects.order_by("number").values_list("number", "sealed_at"))
    ends = [sealed_at for _number, sealed_at in seals]
    wanted: dict[int, set[str]] = {}
    for moment, leaf in leaves:
        place = bisect_left(ends, moment)
        if place < len(ends):
            wanted.setdefault(place, set()).add(leaf)
    found = {}
    places = sorted(wanted)
    for start in range(0, len(places), AT_ONCE):
        batch = places[start : start + AT_ONCE]
        windows = [(ends[place - 1] if place else None, ends[place]) for place in batch]
        for place, hashes in zip(batch, leaves_of_windows(windows), strict=True):
            at = {index: leaf for index, leaf in enumerate(hashes) if leaf in wanted[place]}
            for index, path in merkle_paths(hashes, at).items():
                sided = list(_sided(index, len(hashes), path))
                found[at[index]] = {"seal": seals[place][0], "path": sided}
    return json.dumps(found, separators=(",", ":"), sort_keys=True)


def _sided(index: int, count: int, path: Sequence[str]) -> Iterator[tuple[str, str]]:
    """The path with the side on which each hash stands; an odd node that is carried up stands beside nothing."""
    left = iter(path)
    while count > 1:
        if index ^ 1 < count:
            yield ("left" if index % 2 else "right", next(left))
        index, count = index // 2, (count + 1) // 2
