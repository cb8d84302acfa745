"""Canonical JSON, the hash of an entry over the one before it, and Merkle roots (as RFC 6962 section 2.1)."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

LEAF, NODE = b"\x00", b"\x01"
EMPTY_ROOT = hashlib.sha256(b"").hexdigest()


def canonical(value: Any) -> bytes:
    """One spelling for one value: UTF-8 JSON, keys sorted by code point, no blanks, text left exactly as it is.

    Takes None, bool, int, str, lists, tuples and mappings with text keys; raises TypeError for anything else, binary
    floats above all (two machines may spell them differently), and ValueError for text that is no valid Unicode.
    For such values with keys of the Basic Multilingual Plane and integers up to 2**53 it is RFC 8785.
    """
    _check(value)
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=dict).encode()


def entry_hash(payload: Mapping[str, Any], previous: str) -> str:
    """Hash in hex of an entry's evidence fields and the hash of the entry before it ("" for the first).

    Raises ValueError where the payload itself has a field "previous": it would hide the real one.
    """
    if "previous" in payload:
        raise ValueError('An entry has no field "previous" of its own.')
    return leaf_hash(canonical({"previous": previous, **payload}))


def fingerprint(value: Any) -> str:
    """SHA-256 in hex of the canonical JSON: equal for equal content."""
    return hashlib.sha256(canonical(value)).hexdigest()


def leaf_hash(content: bytes) -> str:
    """Hash in hex of one leaf. The prefix keeps a leaf from ever being taken for a node."""
    return hashlib.sha256(LEAF + content).hexdigest()


def merkle_root(leaf_hashes: Iterable[str]) -> str:
    """Root in hex over leaf hashes in hex, in the order given; EMPTY_ROOT where there are none.

    Raises ValueError for a leaf that is not 64 hex digits.
    """
    level = [_digest(leaf) for leaf in leaf_hashes]
    if not level:
        return EMPTY_ROOT
    while len(level) > 1:
        # A last one without a neighbour moves up as it is; duplicating it would let two lists share a root.
        pairs = zip(level[::2], level[1::2], strict=False)
        odd = level[-1:] if len(level) % 2 else []
        level = [hashlib.sha256(NODE + left + right).digest() for left, right in pairs] + odd
    return level[0].hex()


def _digest(leaf: str) -> bytes:
    digest = bytes.fromhex(leaf)
    if len(digest) != hashlib.sha256().digest_size or len(leaf) != 2 * len(digest):
        raise ValueError(f"{leaf!r} is not a SHA-256 hash of 64 hex digits.")
    return digest


def _check(value: Any) -> None:
    if value is None or isinstance(value, (bool, int, str)):
        return
    if isinstance(value, Mapping):
        for key, one in value.items():
            if not isinstance(key, str):
                raise TypeError(f"A key of canonical JSON is text, not {key!r}.")
            _check(one)
    elif isinstance(value, (list, tuple)):
        for one in value:
            _check(one)
    else:
        raise TypeError(
            f"{value!r} ({type(value).__name__}) has no canonical JSON; numbers with places are text."
        )
