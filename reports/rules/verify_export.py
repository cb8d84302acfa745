#!/usr/bin/env python3
"""Check an export of the record without the service that made it: `python3 -I verify_export.py EXPORT.zip`.

This file is complete in itself and needs nothing but Python 3.9 or later. It works out anew: the SHA-256 of every file;
the hash of every entry, and that each follows the one before it; that each piece has as many entries as were counted,
the newest being the one recorded last; the hash of every row beside the entries that a daily seal covers; the Merkle
root (RFC 6962) and the count of every seal; and that every photo and every file brought in is the one that was kept.

What it cannot show by itself: that nobody rewrote everything, seals and list of files included, or cut off the newest
rows together with their seals. That shows only against something from outside: a seal as it was printed or mailed
(--seal NUMBER:HASH), or the hash of the manifest as it was told when the export was made (--manifest HASH). Rows since
the newest seal, tables that no seal covers, and the lists and papers for reading are guarded by the hash of the
manifest alone. Nor does it show that what was recorded was true. Whoever doubts an export takes this program from
elsewhere than from that export. It hashes by code of its own, on purpose, and first proves that it can fail.

Exit status: 0 all is as it was recorded; 1 something is not; 2 nothing could be checked.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import re
import sys
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator
from io import BytesIO
from typing import Any

FORMAT, VERSION = "gear-record-export", 1
MANIFEST, ENTRIES, HEADS, PROOFS = "manifest.json", "entries.jsonl", "heads.jsonl", "proofs.json"
SEALS, PHOTOS = "tables/gear.seal.jsonl", "tables/gear.photo.jsonl"
NEEDED = ("file", "rows", "leaf", "dated", "key", "later")  # of a table in the manifest
SHORTEST = 16  # symbols of a printed hash: too many to find another seal that begins alike
MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}\+00:00")
OUTSIDE = (
    "Nothing from outside was compared. A record rewritten as a whole, or cut together with its newest seals, would "
    "look the same: compare a printed seal (--seal) or the noted hash of the manifest (--manifest)."
)
Row = dict[str, Any]
Leaf = tuple[str, Any, str, str]  # moment, key, hash, place
UNREADABLE = (KeyError, TypeError, ValueError, AttributeError, RecursionError)
BROKEN = (OSError, EOFError, RuntimeError, zipfile.BadZipFile, zlib.error)


class NoExport(Exception):
    """What was given is no export that this program can read. The message says why."""


def once(pairs: list[tuple[str, Any]]) -> Row:
    """An object whose names stand once: of two values under one name, readers would take different ones."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands twice")
    return found


def canonical(value: Any) -> bytes:
    """UTF-8 JSON with sorted keys and no spaces."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()


def hash_of(stated: Row) -> str:
    """The hash (hex) of an entry, a row or a seal as stated, `previous` among its fields."""
    return hashlib.sha256(b"\x00" + canonical(stated)).hexdigest()


def merkle_root(leaves: list[str]) -> str:
    """The RFC 6962 tree hash (hex) over leaves given as hex."""
    level = [hashlib.sha256(b"\x00" + bytes.fromhex(leaf)).digest() for leaf in leaves]
    while len(level) > 1:
        even = len(level) // 2 * 2
        pairs = [hashlib.sha256(b"\x01" + level[at] + level[at + 1]).digest() for at in range(0, even, 2)]
        level = pairs + level[even:]
    return level[0].hex() if level else hashlib.sha256(b"").hexdigest()


def root_by_path(leaf: str, path: list[tuple[str, str]]) -> str:
    """The root (hex) to which a path leads: what stands on the "left" or "right" beside, from the leaf up."""
    node = hashlib.sha256(b"\x00" + bytes.fromhex(leaf)).digest()
    for side, beside in path:
        pair = bytes.fromhex(beside) + node if side == "left" else node + bytes.fromhex(beside)
        node = hashlib.sha256(b"\x01" + pair).digest()
    return node.hex()


def leaf_of(table: Row, row: Row) -> str:
    """What a seal takes of a row beside the entries: all but its content, which has a hash of its own."""
    apart = {"content"} | {name for name in table["later"] if row.get(name) is None}
    kept = {name: one for name, one in row.items() if name not in apart}
    who = {name: row.get(name) or "" for name in ("by", "item")}
    return hash_of({**kept, **who, "table": table["leaf"], "previous": ""})


class Check:
    """One look at an export; `wrong` is what was found, each in a sentence with its file and line."""

    def __init__(self, source: Any) -> None:
        try:
            self.files = zipfile.ZipFile(source)
        except BROKEN as error:
            raise NoExport(f"{source} is no whole zip file: {error}") from None
        self.wrong: list[str] = []
        self.hashes: dict[str, str] = {}  # file: SHA-256
        self.manifest: Row = {}
        self.seals: dict[int, Row] = {}
        self.leaves: list[list[Leaf]] = []
        self.newest: dict[str, tuple[int, str]] = {}  # subject: number and hash of its newest entry
        self.subject, self.unsealed, self.entries = "", 0, 0

    def say(self, place: str, what: str) -> None:
        self.wrong.append(f"{place}: {what}")

    def run(self, printed: Iterable[tuple[int, str]] = (), manifest: str = "") -> list[str]:
        """Check everything. Raises NoExport where there is nothing that could be."""
        self._manifest(manifest)
        try:
            self._hashes()
            for table in self.manifest["tables"]:
                self._table(table)
            self._heads()
            self._seals()
            (self._by_proofs if self.manifest["scope"]["kind"] == "items" else self._by_windows)()
        except (*UNREADABLE, *BROKEN) as error:
            self.say(MANIFEST, f"the export cannot be read to its end: {error!r}")
        self._printed(printed)
        return self.wrong

    def _json(self, name: str) -> Any:
        content = self.files.read(name)
        self.hashes.setdefault(name, hashlib.sha256(content).hexdigest())
        return json.loads(content.decode(), object_pairs_hook=once)

    def _manifest(self, expected: str) -> None:
        try:
            self.manifest = self._json(MANIFEST)
            kind, version = self.manifest["format"], self.manifest["version"]
            shaped = "kind" in self.manifest["scope"] and isinstance(self.manifest["files"], dict)
            shaped = shaped and all(set(NEEDED) <= table.keys() for table in self.manifest["tables"])
            if (kind, version, shaped) != (FORMAT, VERSION, True):
                raise NoExport(f"It is {kind!r} {version!r}; this program reads {FORMAT} {VERSION}.")
        except (*UNREADABLE, *BROKEN) as error:
            raise NoExport(f"{MANIFEST} is missing or cannot be read: {error!r}") from None
        digest = self.hashes[MANIFEST]
        if expected and (len(expected) < SHORTEST or not digest.startswith(expected.lower())):
            self.say(MANIFEST, f"its hash is {digest}, not the one that was noted.")

    def _hashes(self) -> None:
        names, listed = self.files.namelist(), self.manifest["files"]
        for name in sorted(one for one, count in Counter(names).items() if count > 1):
            self.say(name, "there are two of it.")
        for name in sorted((set(names) ^ listed.keys()) - {MANIFEST}):
            lacking = "lists this file, and it is not there" if name in listed else "does not list this file"
            self.say(name, f"{MANIFEST} {lacking}.")
        for name in sorted(set(names) & listed.keys()):
            digest, size = hashlib.sha256(), 0
            try:
                with self.files.open(name) as file:
                    while block := file.read(1 << 20):
                        digest.update(block)
                        size += len(block)
                self.hashes[name] = digest.hexdigest()
                if {"sha256": self.hashes[name], "size": size} != listed[name]:
                    self.say(name, f"it is not the file that {MANIFEST} lists.")
            except BROKEN as error:
                self.say(name, f"it cannot be read: {error}")
        for name in self.manifest.get("missing", []):
            self.say(name, "this file was missing already when the export was made.")

    def _rows(self, name: str) -> Iterator[tuple[str, Row]]:
        if name not in self.hashes:
            self.say(name, "it is missing or cannot be read.")
            return
        with self.files.open(name) as file:
            for number, line in enumerate(file, start=1):
                place = f"{name}:{number}"
                try:
                    row = json.loads(line.decode(), object_pairs_hook=once)
                    if not line.endswith(b"\n") or not isinstance(row, dict):
                        raise ValueError("it is no whole line")
                    yield place, row
                except UNREADABLE as error:
                    self.say(place, f"this line cannot be read: {error!r}")

    def _table(self, table: Row) -> None:
        name, count, last = table["file"], 0, None
        leaves: list[Leaf] = []
        for place, row in self._rows(name):
            count += 1
            try:
                self._kept_files(place, row)
                key = row[table["key"]]
                if name == SEALS:
                    self.seals[row["number"]] = {**row, "place": place}
                if table["dated"]:
                    leaf = self._entry(place, row) if name == ENTRIES else leaf_of(table, row)
                    if not MOMENT.fullmatch(row[table["dated"]]) or not re.fullmatch("[0-9a-f]{64}", leaf):
                        raise ValueError("a moment or a hash that is none")
                    leaves.append((row[table["dated"]], key, leaf, place))
                    key = leaves[-1][:2]
                if last is not None and not last < key and name != ENTRIES:
                    self.say(place, "this row is not in its place: rows were moved, or one is there twice.")
                last = key
            except UNREADABLE as error:
                self.say(place, f"this row cannot be read: {error!r}")
        if count != table["rows"]:
            self.say(name, f"{table['rows']} rows were written and {count} are there.")
        if table["dated"]:
            self.leaves.append(sorted(leaves))

    def _entry(self, place: str, row: Row) -> str:
        """Check one entry against the one before it; its hash."""
        last, self.subject, self.entries = self.subject, str(row["subject"]), self.entries + 1
        count, previous = self.newest.get(self.subject, (0, ""))
        what = f"entry {row['position']} of {self.subject} ({row['id']})"
        if self.subject != last and count:
            self.say(place, f"{what} does not stand with the others of {self.subject}.")
        if row["position"] != count + 1:
            self.say(place, f"{what} is not number {count + 1}: one is missing, added or moved.")
        elif row["previous"] != previous:
            self.say(place, f"{what} does not follow the one before it.")
        if hash_of({name: one for name, one in row.items() if name != "hash"}) != row["hash"]:
            self.say(place, f"{what} was changed after it was recorded.")
        self.newest[self.subject] = (int(row["position"]), str(row["hash"]))
        return str(row["hash"])

    def _heads(self) -> None:
        for place, row in self._rows(HEADS):
            subject, stated = row.get("subject"), (row.get("count"), row.get("hash"))
            found = self.newest.pop(str(subject), (0, ""))
            if found != stated:
                counted = f"{stated[0]} entries of {subject} were recorded and {found[0]} are there"
                self.say(place, f"{counted}, or the newest is not the one recorded last.")
            if row.get("whole") is not True:
                self.say(place, f"the record of {subject} was marked as broken when the export was made.")
        for subject in self.newest:
            self.say(HEADS, f"nothing is stated of {subject}, which has entries.")

    def _kept_files(self, place: str, row: Row) -> None:
        named = (row.get("content"), f"media/{row['path']}" if "path" in row else None)
        for name in named if "sha256" in row else ():
            if name and self.hashes.get(name) != row["sha256"]:
                self.say(place, f"{name} is not the file that was kept, or it is missing.")

    def _seals(self) -> None:
        before: Row = {"number": 0, "hash": "", "row_count": 0, "sealed_at": ""}
        for number, seal in sorted(self.seals.items()):
            place, told = seal["place"], f"seal {number} of {seal['sealed_at']}"
            stated = {name: seal[name] for name in ("number", "sealed_at", "row_count", "merkle_root")}
            if number != before["number"] + 1:
                self.say(place, f"a seal before {told} is missing.")
            elif seal["previous_hash"] != before["hash"]:
                self.say(place, f"{told} does not follow the seal before it.")
            late = MOMENT.fullmatch(seal["sealed_at"]) and seal["sealed_at"] > before["sealed_at"]
            if not late or hash_of({**stated, "previous": seal["previous_hash"]}) != seal["hash"]:
                self.say(place, f"{told} was changed after it was made.")
            before = seal

    def _by_windows(self) -> None:
        """Every seal over the rows recorded since the one before it, table by table in the order of the manifest."""
        at, sealed = [0] * len(self.leaves), 0
        for number, seal in sorted(self.seals.items()):
            found: list[str] = []
            for which, leaves in enumerate(self.leaves):
                start = at[which]
                while at[which] < len(leaves) and leaves[at[which]][0] <= seal["sealed_at"]:
                    at[which] += 1
                found += [leaf[2] for leaf in leaves[start : at[which]]]
            told, covered = f"seal {number} of {seal['sealed_at']}", seal["row_count"] - sealed
            if len(found) != covered:
                self.say(seal["place"], f"{told} covers {covered} rows, {len(found)} are there.")
            elif merkle_root(found) != seal["merkle_root"]:
                self.say(seal["place"], f"the rows that {told} covers are not those that were sealed.")
            sealed = seal["row_count"]
        self.unsealed = sum(len(leaves) - at[which] for which, leaves in enumerate(self.leaves))

    def _by_proofs(self) -> None:
        """An export of some pieces: each row by its path to the root of the seal that covers it."""
        proofs = self._json(PROOFS)
        newest = max((one["sealed_at"] for one in self.seals.values()), default="")
        for moment, _key, leaf, place in (one for leaves in self.leaves for one in leaves):
            proof = proofs.get(leaf)
            if proof is None:
                self.unsealed += 1
                if moment <= newest:
                    self.say(place, "a seal was made after this row, and nothing shows that it covers it.")
                continue
            if root_by_path(leaf, proof["path"]) != self.seals.get(proof["seal"], {}).get("merkle_root"):
                self.say(place, f"this row is not among those of seal {proof['seal']}.")

    def _printed(self, printed: Iterable[tuple[int, str]]) -> None:
        for number, digest in printed:
            seal, place = self.seals.get(number), f"printed seal {number}"
            if seal is None:
                self.say(place, "it is not there: this export is older, or its end was cut off.")
            elif len(digest) < SHORTEST or not str(seal.get("hash")).startswith(digest.lower()):
                self.say(place, "it is another one: what it covers was rewritten, or it is mistyped.")


def sample() -> dict[str, bytes]:
    """The files of a tiny export: two entries of one piece, a photo of it, and a seal over them."""
    at, photo, previous, lines = "2026-01-02T03:04:05.000006+00:00", b"a photo", "", []
    for n in (1, 2):
        entry: Row = {"id": str(n), "subject": "item:B-1", "position": n, "facts": {"n": n}}
        entry.update(recorded_at=at, previous=previous)
        previous = entry["hash"] = hash_of(entry)
        lines.append(entry)
    kept = {"id": "p", "at": at, "path": "p.jpg", "item": "B-1", "sha256": hashlib.sha256(photo).hexdigest()}
    shapes: Any = ((ENTRIES, 2, "entry", "recorded_at", "id", []), (PHOTOS, 1, "photo", "at", "id", []))
    tables = [dict(zip(NEEDED, one)) for one in (*shapes, (SEALS, 1, "", None, "number", []))]  # noqa: B905
    root = merkle_root([*(line["hash"] for line in lines), leaf_of(tables[1], kept)])
    seal: Row = {"number": 1, "sealed_at": at, "row_count": 3, "merkle_root": root}
    seal.update(previous_hash="", hash=hash_of({**seal, "previous": ""}))
    head = {"subject": "item:B-1", "count": 2, "hash": previous, "whole": True}
    told = {ENTRIES: lines, PHOTOS: [kept], SEALS: [seal], HEADS: [head]}
    files = {name: b"".join(canonical(one) + b"\n" for one in them) for name, them in told.items()}
    manifest = {"format": FORMAT, "version": VERSION, "tables": tables, "scope": {"kind": "all"}}
    return {**files, "media/p.jpg": photo, MANIFEST: canonical({**manifest, "files": {}})}


def packed(files: dict[str, bytes]) -> BytesIO:
    """A zip of the files with a manifest that lists them as they are: what somebody makes who hides a change."""
    manifest, target = json.loads(files[MANIFEST].decode()), BytesIO()
    with zipfile.ZipFile(target, "w") as made:
        for name in sorted(files.keys() - {MANIFEST}):
            made.writestr(name, files[name])
            digest = hashlib.sha256(files[name]).hexdigest()
            manifest["files"][name] = {"sha256": digest, "size": len(files[name])}
        made.writestr(MANIFEST, canonical(manifest))
    return target


def proves_itself() -> bool:
    """Whether this program finds what was changed in a sample of its own, each change hidden in a new manifest."""
    whole = sample()
    seal = (1, json.loads(whole[SEALS])["hash"])
    edits = ((b"B-1", b"B-2"), (b'"n":2', b'"n":3'), (b"a p", b"no p"), (b"p.j", b"q.j"), (b":3,", b":4,"))
    changed = [(name, one.replace(*edit)) for name, one in whole.items() for edit in edits if edit[0] in one]
    first, second = whole[ENTRIES].splitlines(keepends=True)
    changed += [(ENTRIES, content) for content in (first, second, second + first, first + second + second)]
    found = [Check(packed({**whole, name: one})).run() for name, one in changed if name != MANIFEST]
    return all(found) and len(found) > 10 and not Check(packed(whole)).run([seal])


def printed_seal(text: str) -> tuple[int, str]:
    """`12:HASH`, as a seal is printed."""
    number, _colon, digest = text.strip().partition(":")
    if not re.fullmatch(r"[0-9]{1,9}", number) or not re.fullmatch(r"[0-9a-fA-F]{16,64}", digest):
        raise argparse.ArgumentTypeError(f"give NUMBER:HASH with at least {SHORTEST} symbols of the hash")
    return int(number), digest


def told(check: Check, printed: list[tuple[int, str]], manifest: str) -> Iterator[str]:
    """What was found, in sentences."""
    yield from check.wrong
    made = check.manifest
    what = {"all": "the whole record", "items": "some pieces"}.get(made["scope"]["kind"], "until a moment")
    yield f"Export of {made.get('site')}, made {made.get('made_at')}: {what}; {check.entries} entries."
    yield f"SHA-256 of the manifest: {check.hashes[MANIFEST]}"
    newest = max(check.seals, default=0)
    yield f"Newest seal: {newest}:{check.seals[newest]['hash']}" if newest else "Nothing was sealed yet."
    if check.unsealed:
        yield f"{check.unsealed} rows are younger than the newest seal: no seal covers them."
    if not printed and not manifest:
        yield OUTSIDE
    yield (
        f"NOT AS RECORDED: {len(check.wrong)} problems."
        if check.wrong
        else "All checked is as it was recorded."
    )


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("export", metavar="EXPORT.zip")
    parser.add_argument("--seal", type=printed_seal, action="append", default=[], metavar="NUMBER:HASH")
    parser.add_argument("--manifest", default="", metavar="HASH", help="its hash as it was noted")
    asked = parser.parse_args(arguments)
    try:
        if not proves_itself():
            raise NoExport("This program does not find what it must; take another copy of it.")
        check = Check(asked.export)
        with check.files:
            wrong = check.run(asked.seal, asked.manifest)
    except NoExport as error:
        sys.stderr.write(f"Nothing was checked. {error}\n")
        return 2
    sys.stdout.write("\n".join(told(check, asked.seal, asked.manifest)) + "\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
