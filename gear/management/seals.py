"""A seal as it is typed at the console."""

from __future__ import annotations

from argparse import ArgumentTypeError

from django.utils.translation import gettext as _

from gear.ledger.seals import SHORTEST_ANCHOR, Anchor
from gear.queries.restored import as_seal


def anchor(text: str) -> Anchor:
    """`12:HASH`, as a seal is printed."""
    found = as_seal(text)
    if found is None:
        raise ArgumentTypeError(
            _(
                "Give the printed seal as NUMBER:HASH, with at least %(count)s symbols of the hash, for example "
                "12:%(hash)s"
            )
            % {"count": SHORTEST_ANCHOR, "hash": "9f2c04d71be85a36"}
        )
    return found
