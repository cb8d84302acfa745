"""Canonical JSON, the hash that chains entries, and Merkle roots (RFC 6962 section 2.1)."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from typing import Any

LEAF, NODE = b"\x00", b"\x01"
_PLAIN = frozenset((str, int, bool, type(None)))


def canonical(value: Any) -> bytes:
    """UTF-8 JSON with sorted keys and no spaces. Raises TypeError for floats: their text depends on who prints them."""
    _refuse_floats(value)
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()


def entry_hash(payload: Mapping[str, Any], previous: str) -> str:
    """SHA-256 (hex) over the evidence fields of an entry and the hash of the entry before it ("" for the first).

    Raises ValueError where the entry has a field "previous" of its own: it would be left out of the hash.
    """
    if "previous" in payload:
        raise ValueError('An entry has no field "previous" of its own.')
    return hashlib.sha256(LEAF + canonical({**payload, "previous": previous})).hexdigest()


def merkle_root(leaves: Sequence[str]) -> str:
    """The RFC 6962 tree hash (hex) over leaves given as hex; of no leaves it is the SHA-256 of nothing."""
    if not leaves:
        return hashlib.sha256(b"").hexdigest()
    level = [hashlib.sha256(LEAF + bytes.fromhex(leaf)).digest() for leaf in leaves]
    # Pairing level by level and carrying an odd node up gives the RFC's split at the largest power of two.
    while len(level) > 1:
        paired = [
            hashlib.sha256(NODE + level[i] + level[i + 1]).digest() for i in range(0, len(level) - 1, 2)
        ]
        level = paired + level[len(paired) * 2 :]
    return level[0].hex()


def merkle_paths(leaves: Sequence[str], wanted: Collection[int]) -> dict[int, list[str]]:
    """The RFC 6962 audit paths (hex, from the leaf up) of some leaves by their index: all that a root needs beside
    the leaf, its index and the number of leaves."""
    level = [hashlib.sha256(LEAF + bytes.fromhex(leaf)).digest() for leaf in leaves]
    paths: dict[int, list[str]] = {index: [] for index in wanted}
    depth = 0
    while len(level) > 1:
        for index, path in paths.items():
            beside = (index >> depth) ^ 1
            if beside < len(level):
                path.append(level[beside].hex())
        paired = [
            hashlib.sha256(NODE + level[i] + level[i + 1]).digest() for i in range(0, len(level) - 1, 2)
        ]
        level, depth = paired + level[len(paired) * 2 :], depth + 1
    return paths


def _refuse_floats(value: Any) -> None:
    if (
        type(value) in _PLAIN
    ):  # most of what there is: asked first, because every answer hashes its whole record
        return
    if isinstance(value, float):
        raise TypeError("Numbers in evidence are whole or text, never binary fractions.")
    if type(value) is dict or isinstance(value, Mapping):
        for key, one in value.items():
            # 1 and "1" would become the same key, and two contents would share one spelling.
            if not isinstance(key, str):
                raise TypeError(f"A key of evidence is text, not {key!r}.")
            if type(one) not in _PLAIN:
                _refuse_floats(one)
    elif isinstance(value, list | tuple):
        for one in value:
            _refuse_floats(one)
