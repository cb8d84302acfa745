#!/usr/bin/env python3
"""Check the record of a piece without the service that printed it: `python record_check.py RECORD.pdf`.

This file is complete in itself and needs nothing but Python 3.9 or later. The record of a piece as of a moment carries,
attached to the PDF, what it says and every entry that it rests on.

What this can show: that what is attached belongs to the code on the paper; that each entry has the hash that is named
(SHA-256 over its canonical JSON and the hash of the entry before it); and that the entries follow one another without a
gap. What it cannot show: that the paper says what is attached (compare the two by eye), that nothing follows the last
entry, and whether the answers are what the rules make of the entries. The page of the service works that out again.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import re
import sys
import zlib
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

FORMAT = "record-of-a-piece 1"
ATTACHMENT = "record.json"
SYMBOLS = "234679ACDEFHJKMNPRTVWXY"  # no look-alikes
CODE_LENGTH = 24  # symbols, 108 bits
GROUP = 4
LONGEST = 64 * 1024 * 1024  # bytes of an attachment
Stated = dict[str, Any]


class NotARecord(Exception):
    """What was given is no record of a piece. The message says why."""


def canonical(value: Any) -> bytes:
    """UTF-8 JSON with sorted keys and no spaces."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()


def hash_of(content: Stated) -> str:
    """The hash (hex) of what a record of a piece says."""
    return hashlib.sha256(canonical({"format": FORMAT, "content": content})).hexdigest()


def code_of(content: Stated) -> str:
    """The code on the paper: the first 24 symbols of that hash, in groups of four."""
    left, symbols = int(hash_of(content), 16), []
    for _symbol in range(CODE_LENGTH):
        left, one = divmod(left, len(SYMBOLS))
        symbols.append(SYMBOLS[one])
    return "-".join("".join(symbols[at : at + GROUP]) for at in range(0, CODE_LENGTH, GROUP))


def entry_hash(stated: Stated) -> str:
    """The hash (hex) of an entry as stated, `previous` among its fields."""
    return hashlib.sha256(b"\x00" + canonical(stated)).hexdigest()


def problems_of(given: Stated) -> list[str]:
    """What is wrong with what is attached, each in a sentence; an empty list where all is as it was."""
    wrong, previous = [], ""
    try:
        content, entries = given["content"], given["entries"]
        if code_of(content) != given["code"]:
            wrong.append("What it says does not belong to the code.")
        if len(entries) != len(content["entries"]):
            wrong.append(f"It rests on {len(content['entries'])} entries, {len(entries)} are attached.")
        for place, (stated, named) in enumerate(zip(entries, content["entries"], strict=False), start=1):
            if stated["position"] != place or stated["previous"] != previous:
                wrong.append(f"Entry {place} does not follow the one before it.")
            if entry_hash(stated) != named["hash"] or stated["id"] != named["id"]:
                wrong.append(f"Entry {place} is not the one that was recorded.")
            if stated["subject"] != f"item:{content['item']}":
                wrong.append(f"Entry {place} is about another piece.")
            previous = named["hash"]
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        return [f"It cannot be read: {error!r}."]
    return wrong


def report(given: Any) -> tuple[list[str], bool]:
    """(lines to read, whether nothing is wrong) about what is attached. Raises NotARecord."""
    if (
        not isinstance(given, dict)
        or given.get("format") != FORMAT
        or not isinstance(given.get("content"), dict)
    ):
        raise NotARecord(f"This is no {FORMAT}.")
    if wrong := problems_of(given):
        return ["NOT AS PRINTED", *(f"  {why}" for why in wrong)], False
    content = given["content"]
    lines = [
        f"{content['item']}  code {given['code']}: as printed, resting on {len(content['entries'])} entries.",
        f"  as of {content['as_of']}, as known at {content['known_at']}",
    ]
    for name, words in (("true_then", "as known later"), ("known_then", "as known then")):
        reasons = ", ".join(reason["code"] for reason in content[name]["reasons"]) or "nothing against it"
        lines.append(f"  {words}: {content[name]['verdict']} ({reasons})")
    return [*lines, "Compare it with the paper. What was entered later the service tells."], True


def attached(data: bytes) -> Stated:
    """What is attached to a PDF, or the JSON itself. Raises NotARecord."""
    found = []
    for text in _embedded(data) if data.startswith(b"%PDF") else [data]:
        with suppress(ValueError):
            found.append(json.loads(text))
    found = [one for one in found if isinstance(one, dict) and one.get("format") == FORMAT]
    if len(found) != 1:
        raise NotARecord(f"{len(found)} records are attached to this file, one is wanted.")
    return found[0]


def _embedded(data: bytes) -> Iterator[bytes]:
    """The contents of the files embedded in a PDF, inflated."""
    for found in re.finditer(rb"/Type\s*/EmbeddedFile\b", data):
        stream = re.compile(rb"stream\r?\n").search(data, found.end())
        if stream is None:
            continue
        head, content = data[data.rfind(b" obj", 0, found.start()) : stream.start()], data[stream.end() :]
        if b"/FlateDecode" not in head:
            yield content[: content.find(b"endstream")].rstrip(b"\r\n")
            continue
        with suppress(zlib.error):
            yield zlib.decompressobj().decompress(content, LONGEST)


def main(arguments: list[str] | None = None) -> int:
    """0: as printed; 1: not as printed; 2: no record of a piece."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("file", help="the record of a piece as a PDF, or what is attached to it")
    given = parser.parse_args(arguments)
    try:
        with open(given.file, "rb") as file:
            lines, fine = report(attached(file.read()))
    except (OSError, NotARecord) as error:
        sys.stderr.write(f"{error}\n")
        return 2
    sys.stdout.write("\n".join(lines) + "\n")
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
