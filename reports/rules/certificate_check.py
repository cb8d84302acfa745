#!/usr/bin/env python3
"""Check a test certificate without the service that printed it: `python certificate_check.py CERTIFICATE.pdf`.

This file is complete in itself and needs nothing but Python 3.9 or later. A certificate carries, attached to the PDF,
the facts that it certifies, the entries of the record that they come from, and where a daily seal covers an entry,
its place in that seal.

What this can show: that the facts belong to the code; that they say what the entries say; that each entry has the hash
that is named (SHA-256 over its canonical JSON and the hash of the entry before it); and that an entry was in the record
when it was sealed (an RFC 6962 audit path), provided the seal is compared with one that was printed or mailed at the
time, as --seal NUMBER:HASH. What it cannot show: that what stands on the paper is what is attached (compare the two by
eye), that entry and seal are of a real record where no printed seal is compared, the figures that come from the rule
pack and not from an entry, and whether the test was corrected or withdrawn later. The page of the service answers that.
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

FORMAT = "test-certificate 1"
ATTACHMENT = "certificate.json"
SYMBOLS = "234679ACDEFHJKMNPRTVWXY"  # no look-alikes
CODE_LENGTH = 24  # symbols, 108 bits
GROUP = 4
LONGEST = 64 * 1024 * 1024  # bytes of an attachment
Stated = dict[str, Any]  # an entry or a seal as it was hashed, its `previous` hash among its fields
Entries = dict[str, Stated]
Facts = dict[str, str]
Printed = tuple[int, str]  # number and hash of a seal
PACK = "figures."  # facts of the rule pack: in no entry, covered by the code alone


class NotACertificate(Exception):
    """What was given is no certificate. The message says why."""


# What is certified


def canonical(value: Any) -> bytes:
    """UTF-8 JSON with sorted keys and no spaces."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()


def hash_of(stated: Stated) -> str:
    """The hash (hex) of an entry or a seal as stated, `previous` among its fields."""
    return hashlib.sha256(b"\x00" + canonical(stated)).hexdigest()


def code_of(number: str, facts: Facts) -> str:
    """The code of a certificate: the first 24 symbols of SHA-256 over its number and facts, in groups of four."""
    digest = hashlib.sha256(canonical({"format": FORMAT, "number": number, "facts": facts})).digest()
    left, symbols = int.from_bytes(digest, "big"), []
    for _symbol in range(CODE_LENGTH):
        left, one = divmod(left, len(SYMBOLS))
        symbols.append(SYMBOLS[one])
    return "-".join("".join(symbols[at : at + GROUP]) for at in range(0, CODE_LENGTH, GROUP))


def number_of(stated: Stated) -> str:
    """G-01234/7: the item and the place of the entry in its record, never given twice."""
    return f"{item_of(stated)}/{stated['position']}"


def item_of(stated: Stated) -> str:
    word, _colon, item_no = stated["subject"].partition(":")
    if word != "item":
        raise NotACertificate("An entry is not about an item.")
    return item_no


def flattened(name: str, value: Any) -> Facts:
    """{dotted name: text} of JSON; lists count from 1."""
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, list):
        inner = [(str(place), one) for place, one in enumerate(value, start=1)]
    else:
        return {name: value if isinstance(value, str) else json.dumps(value)}
    found = {}
    for key, one in inner:
        found.update(flattened(f"{name}.{key}", one))
    return found


def test_stated(stated: Stated) -> tuple[Stated, str]:
    """(facts, day) of the test that an entry states, or that a correction puts in the place of one."""
    if stated["kind"] == "corrected":
        stated = stated["facts"]["replacement"] or {}
    if stated.get("kind") != "tested":
        raise NotACertificate("The entry states no test.")
    return {name: one for name, one in stated["facts"].items() if name != "v"}, stated["occurred_on"]


def identity_stated(stated: Stated) -> Stated:
    """What an entry of receipt, or its correction, says that the item is; what is not stated is left out."""
    facts = (stated["facts"]["replacement"] if stated["kind"] == "corrected" else stated)["facts"]
    return {name: one for name, one in facts["identity"].items() if one is not None}


def facts_of(entries: Entries) -> Facts:
    """The certified facts, as text by name, that follow from the entries.

    `entries`: "test" is the test or a correction of it, "identity" the entry that says what the item is, "replaces"
    the entry of the certificate that this one replaces. The latter two may be missing.
    """
    test = entries["test"]
    stated, day = test_stated(test)
    facts = {
        "item": item_of(test),
        "tested_on": day,
        "entry": test["id"],
        "entry_hash": hash_of(test),
        "recorded_at": test["recorded_at"],
        "recorded_by": test["by"],
        "recorded_via": test["via"],
    }
    facts.update(flattened("test", stated))
    if "identity" in entries:
        facts["identity_entry"] = entries["identity"]["id"]
        facts["identity_hash"] = hash_of(entries["identity"])
        facts.update(flattened("identity", identity_stated(entries["identity"])))
    if "replaces" in entries:
        facts["replaces"] = number_of(entries["replaces"])
        facts["replaces_hash"] = hash_of(entries["replaces"])
    return facts


# The check


def root_by_path(leaf: str, index: int, count: int, path: list[str]) -> str | None:
    """The RFC 6962 root (hex) over `count` leaves of which this hash is the one at `index`; None where the path does
    not lead there."""
    node, left = hashlib.sha256(b"\x00" + bytes.fromhex(leaf)).digest(), list(path)
    if not 0 <= index < count:
        return None
    while count > 1:
        if index ^ 1 < count:
            if not left:
                return None
            beside = bytes.fromhex(left.pop(0))
            pair = beside + node if index % 2 else node + beside
            node = hashlib.sha256(b"\x01" + pair).digest()
        index, count = index // 2, (count + 1) // 2
    return node.hex() if not left else None


def problems_of(one: Stated) -> list[str]:
    """What is wrong with the facts of one certificate, each in a sentence; an empty list where all is as it was."""
    try:
        number, facts, entries = one["number"], one["facts"], one["entries"]
        follow, wrong = facts_of(entries), []
        if code_of(number, facts) != one["code"]:
            wrong.append("The facts do not belong to the code.")
        if number != number_of(entries["test"]):
            wrong.append(f"Its number is {number}, that of the entry is {number_of(entries['test'])}.")
        stated = {name: text for name, text in facts.items() if not name.startswith(PACK)}
        for name in sorted(stated.keys() | follow.keys()):
            if stated.get(name) != follow.get(name):
                wrong.append(f"{name}: {stated.get(name)!r} is stated, the entry says {follow.get(name)!r}.")
        for role in ("identity", "replaces"):
            if role in entries and entries[role]["subject"] != entries["test"]["subject"]:
                wrong.append(f"The entry of {role} is about another item.")
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, NotACertificate) as error:
        return [f"It cannot be read: {error!r}."]
    return wrong


def seal_hash(seal: Stated) -> str:
    """The hash of a seal over its own figures and the seal before it."""
    stated = {name: seal[name] for name in ("number", "sealed_at", "row_count", "merkle_root")}
    return hash_of({**stated, "previous": seal["previous_hash"]})


def connected(seals: Entries, number: int, printed: Printed) -> bool:
    """Whether the seal of this number is, or comes before in one unbroken line, the printed (number, hash).

    Every seal of the line is worked out again: a line that is merely stated proves nothing.
    """
    wanted, stated = printed
    previous = None
    for one in range(number, wanted + 1):
        seal = seals.get(str(one))
        if seal is None or seal["number"] != one or seal_hash(seal) != seal["hash"]:
            return False
        if previous is not None and seal["previous_hash"] != previous:
            return False
        previous = seal["hash"]
    return previous is not None and previous.startswith(stated.lower())


def seal_problems(one: Stated, seals: Entries, printed: Printed | None) -> tuple[list[str], list[int], bool]:
    """(what is wrong with the proofs of one certificate, the seals that cover its entries, whether one is as printed).

    Raises nothing: a proof that cannot be read is wrong.
    """
    wrong, covered, as_printed = [], set(), True
    try:
        for role, leaf in sorted(one["leaves"].items()):
            seal = seals[str(leaf["seal"])]
            root = root_by_path(hash_of(one["entries"][role]), leaf["index"], leaf["count"], leaf["path"])
            if root != seal["merkle_root"] or seal_hash(seal) != seal["hash"]:
                wrong.append(f"Seal {leaf['seal']} does not cover the entry of {role}.")
            covered.add(leaf["seal"])
            as_printed = as_printed and printed is not None and connected(seals, leaf["seal"], printed)
        as_printed = as_printed and set(one["leaves"]) == set(one["entries"])
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        return [f"Its proof cannot be read: {error!r}."], [], False
    return wrong, sorted(covered), as_printed


def report(given: Any, printed: Printed | None = None) -> tuple[list[str], bool]:
    """(lines to read, whether nothing is wrong) about what is attached to a certificate."""
    if not isinstance(given, dict) or given.get("format") != FORMAT or not given.get("certificates"):
        raise NotACertificate(f"This is no {FORMAT}.")
    lines, fine = [], True
    seals = given.get("seals") or {}
    for one in given["certificates"]:
        wrong = problems_of(one)
        more, covered, as_printed = seal_problems(one, seals, printed)
        wrong += more
        if printed and not as_printed:
            wrong.append(
                "It does not lead to the printed seal. Was the seal typed as printed, and is it not older?"
            )
        lines += _told(one, wrong, covered, as_printed)
        fine = fine and not wrong
    lines.append(
        "Compare every line with the paper. This says nothing about later corrections; ask the service."
    )
    return lines, fine


def _told(one: Stated, wrong: list[str], covered: list[int], as_printed: bool) -> list[str]:
    if wrong:
        return [f"{one.get('number')}: NOT AS CERTIFIED", *(f"  {why}" for why in wrong), ""]
    lines = [f"{one['number']}  code {one['code']}: the facts are as certified and as the entries say."]
    if as_printed:
        lines.append("  The entries were in the record when the printed seal was made.")
    elif covered:
        numbers = ", ".join(f"{number}" for number in covered)
        lines.append(f"  Sealed (seal {numbers}); compare with a printed seal: --seal NUMBER:HASH.")
    else:
        lines.append("  No seal covers the entries yet.")
    facts = one["facts"]
    lines += [f"  {name}: {facts[name]}" for name in sorted(facts) if not name.startswith(PACK)]
    lines += [
        f"  {name}: {facts[name]} (from the rule pack, by the code alone)"
        for name in sorted(facts)
        if name.startswith(PACK)
    ]
    return [*lines, ""]


# The file


def attached(content: bytes) -> Stated:
    """What is attached to a PDF, or the JSON itself. Raises NotACertificate."""
    texts = list(_embedded(content)) if content.startswith(b"%PDF") else [content]
    found = []
    for text in texts:
        try:
            found.append(json.loads(text))
        except ValueError:
            continue
    found = [one for one in found if isinstance(one, dict) and one.get("format") == FORMAT]
    if len(found) != 1:
        raise NotACertificate(f"{len(found)} certificates are attached to this file, one is wanted.")
    return found[0]


def _embedded(content: bytes) -> Iterator[bytes]:
    """The contents of the files embedded in a PDF, inflated."""
    for found in re.finditer(rb"/Type\s*/EmbeddedFile\b", content):
        stream = re.compile(rb"stream\r?\n").search(content, found.end())
        if stream is None:
            continue
        head = content[content.rfind(b" obj", 0, found.start()) : stream.start()]
        data = content[stream.end() :]
        if b"/FlateDecode" not in head:
            yield data[: data.find(b"endstream")].rstrip(b"\r\n")
            continue
        with suppress(zlib.error):
            yield zlib.decompressobj().decompress(data, LONGEST)


def printed_seal(text: str) -> Printed:
    """(number, hash) of a seal as printed: NUMBER:HASH, at least 16 symbols of the hash."""
    found = re.fullmatch(r"([0-9]{1,9}):([0-9a-fA-F]{16,64})", text.strip())
    if found is None:
        raise argparse.ArgumentTypeError(
            "Give the printed seal as NUMBER:HASH, at least 16 symbols of the hash."
        )
    return int(found[1]), found[2]


def main(arguments: list[str] | None = None) -> int:
    """0: as certified; 1: not as certified; 2: no certificate."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("file", help="the certificate as a PDF, or what is attached to it")
    parser.add_argument("--seal", type=printed_seal, metavar="NUMBER:HASH", help="a seal printed at the time")
    given = parser.parse_args(arguments)
    try:
        with open(given.file, "rb") as file:
            lines, fine = report(attached(file.read()), given.seal)
    except (OSError, NotACertificate) as error:
        sys.stderr.write(f"{error}\n")
        return 2
    sys.stdout.write("\n".join(lines) + "\n")
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
