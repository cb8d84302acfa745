"""Reading a pack from its file: hash, parse, check. Any doubt refuses it; there are no built-in values."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from gear.rules.packs.checking import check_pack, check_row, row_key
from gear.rules.packs.figures import PackRefused
from gear.rules.packs.rulepack import RulePack
from gear.rules.packs.schema import TABLES

DEFAULT = Path(__file__).parent
SUMS = "SHA256SUMS"
HEADER = ("name", "version", "title", "extends", "extends_version")
_NAME = re.compile(r"[a-z][a-z0-9_]{0,63}")
_VERSION = re.compile(r"[0-9]{1,6}")


def load(name: str, version: str = "1", directory: Path = DEFAULT) -> RulePack:
    """The pack of that name and version.

    The files are read and hashed at every call, so that a file altered under a running process is noticed; only the
    parsing of unchanged bytes is remembered.
    Raises PackRefused when the pack is missing, altered, unparsable, incomplete or overlapping.
    """
    file_name = _file_name(name, version)
    content = read_verified(file_name, directory)
    header = _header(file_name, content)
    base_name, base_version = header.get("extends"), header.get("extends_version")
    if base_name is None:
        return _built(name, version, file_name, content, "", b"")
    base_file = _file_name(base_name, base_version)
    return _built(name, version, file_name, content, base_file, read_verified(base_file, directory))


def known_packs(directory: Path = DEFAULT) -> tuple[tuple[str, str], ...]:
    """(name, version) of every pack file listed in SHA256SUMS, sorted; nothing is said of whether they load."""
    found = []
    for file_name in _sums(directory):
        header = _header(file_name, read_verified(file_name, directory))
        if "name" in header:
            found.append((str(header["name"]), str(header.get("version"))))
    return tuple(sorted(found))


def read_verified(file_name: str, directory: Path = DEFAULT) -> bytes:
    """The bytes of a file of the pack directory. PackRefused when missing or not as SHA256SUMS lists it."""
    expected = _sums(directory).get(file_name)
    if expected is None:
        raise PackRefused(
            f"{file_name} is not listed in {SUMS}. Use a pack that was shipped, or list its hash there."
        )
    try:
        content = (directory / file_name).read_bytes()
    except OSError:
        raise PackRefused(f"{file_name} cannot be read. Put back the file as it was shipped.") from None
    if hashlib.sha256(content).hexdigest() != expected:
        raise PackRefused(
            f"{file_name} has been altered: its hash is not the one in {SUMS}. Put back the file as it was shipped."
        )
    return content


def _sums(directory: Path) -> dict[str, str]:
    try:
        lines = (directory / SUMS).read_text(encoding="ascii").splitlines()
    except (OSError, UnicodeDecodeError):
        raise PackRefused(
            f"{SUMS} cannot be read, so that no rule pack can be trusted. Put it back as it was shipped."
        ) from None
    sums: dict[str, str] = {}
    for number, line in enumerate(lines, start=1):
        match = re.fullmatch(r"([0-9a-f]{64})  ([A-Za-z0-9_.]+)", line)
        if match is None or match[2] in sums:
            raise PackRefused(f"{SUMS} line {number} is not a hash and a file name, or repeats one.")
        sums[match[2]] = match[1]
    return sums


def _file_name(name: object, version: object) -> str:
    """Version 1 lives in name.toml, a later version in name_version.toml beside it."""
    if not (isinstance(name, str) and _NAME.fullmatch(name)):
        raise PackRefused(f"{name!r} is not the name of a rule pack.")
    if not (isinstance(version, str) and _VERSION.fullmatch(version)):
        raise PackRefused(f"{version!r} is not the version of a rule pack.")
    return f"{name}.toml" if version == "1" else f"{name}_{version}.toml"


def _parsed(file_name: str, content: bytes) -> dict[str, Any]:
    try:
        return tomllib.loads(content.decode("utf-8"), parse_float=Decimal)
    except (ValueError, ArithmeticError, RecursionError) as error:
        raise PackRefused(f"{file_name} is not readable TOML: {error}.") from None


@lru_cache(maxsize=16)
def _header(file_name: str, content: bytes) -> Mapping[str, Any]:
    parsed = _parsed(file_name, content)
    return MappingProxyType({field: parsed[field] for field in HEADER if field in parsed})


@lru_cache(maxsize=16)
def _built(
    name: str, version: str, file_name: str, content: bytes, base_file: str, base_content: bytes
) -> RulePack:
    own = _parsed(file_name, content)
    _check_header(file_name, own, name, version)
    sha256 = hashlib.sha256(content).hexdigest()
    if base_content:
        base = _parsed(base_file, base_content)
        _check_header(base_file, base, own["extends"], own["extends_version"])
        if "extends" in base:
            raise PackRefused(
                f"{file_name} extends {base_file}, which extends another pack itself. Extend a whole pack."
            )
        check_pack(base_file, base)
        own = _merged(file_name, base, own)
        sha256 = hashlib.sha256(content + base_content).hexdigest()
    _check_shape(file_name, own)
    check_pack(file_name, own)
    tables = {table: own[table] for table in TABLES}
    return RulePack(name, version, own["title"], sha256, _frozen(tables))


def _frozen(value: Any) -> Any:
    """The same tables, read only: a pack is shared by everything that runs in this process."""
    if isinstance(value, dict):
        return MappingProxyType({key: _frozen(part) for key, part in value.items()})
    return tuple(_frozen(part) for part in value) if isinstance(value, list) else value


def _check_header(file_name: str, pack: Mapping[str, Any], name: str, version: str) -> None:
    _check_shape(file_name, pack)
    if pack.get("name") != name or pack.get("version") != version:
        raise PackRefused(f"{file_name} does not hold {name} version {version}.")
    if not isinstance(pack.get("title"), str) or not pack["title"]:
        raise PackRefused(f"{file_name} has no title.")


def _check_shape(file_name: str, pack: Mapping[str, Any]) -> None:
    for name, table in pack.items():
        if name in HEADER:
            continue
        if not isinstance(table, dict) or set(table) - {"title", "note", "rows"}:
            raise PackRefused(f"{file_name}: [{name}] may hold title, note and rows, nothing else.")
        rows = table.get("rows", [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise PackRefused(f"{file_name}: the rows of [{name}] are not a list of rows.")


def _merged(file_name: str, base: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """The base with the rows of the same key replaced; a row with no partner in the base is refused."""
    merged = {**base, "name": own["name"], "version": own["version"], "title": own["title"]}
    for name, table in own.items():
        if name in HEADER:
            continue
        if name not in TABLES:
            raise PackRefused(f"{file_name}: unknown table or field {name!r}. Remove it or correct its name.")
        merged[name] = {
            **base[name],
            **table,
            "rows": _overlaid(file_name, name, base[name]["rows"], table.get("rows", [])),
        }
    return merged


def _overlaid(file_name: str, table: str, base_rows: list[Any], own_rows: list[Any]) -> list[Any]:
    spec = TABLES[table]
    places = {row_key(spec, row): place for place, row in enumerate(base_rows)}
    replaced: dict[int, Any] = {}
    for number, row in enumerate(own_rows, start=1):
        check_row(f"{file_name}: table [{table}] row {number}", spec, row)
        key = row_key(spec, row)
        if key not in places or places[key] in replaced:
            raise PackRefused(
                f"{file_name}: a row of [{table}] replaces no row of the pack it extends, or one twice: {key}."
            )
        replaced[places[key]] = row
    return [replaced.get(place, row) for place, row in enumerate(base_rows)]
