"""The words of other languages: what the field screens say and a catalog lacks, and the catalogs compiled.

The compiled catalogs are kept beside their sources, so that a fresh clone speaks every language without gettext's own
tools; a test compares the two.
"""

from __future__ import annotations

import ast
import re
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation.template import templatize

ROOT = Path(__file__).resolve().parents[3]
# Everything that a worker reads at the truck: the client's pages, the answer, and what the server says in them.
FIELD = (
    "inspections/templates/inspections/field/**/*.html",
    "inspections/field/**/*.py",
    "inspections/templates/inspections/job*.html",
    "inspections/forms/jobs.py",
    "inspections/views/job*.py",
    "gear/templates/gear/answer.html",
    "gear/templates/gear/ask.html",
    "gear/templates/gear/badge.html",
    "gear/templates/gear/code_form.html",
    "gear/templates/gear/last_day.html",
    "gear/templates/gear/now.html",
    "gear/templates/gear/rating.html",
    "gear/templates/gear/verdict.html",
    "gear/actions/acting.py",
    "gear/models/book.py",
    "gear/models/people.py",
    "gear/queries/described.py",
    "gear/queries/look_words.py",
    "gear/queries/ratings.py",
    "gear/rules/drawings.py",
    "gear/views/answer.py",
    "gear/damage_words.py",
    "gear/wording.py",
)
# Sentences that the rules keep as plain text, because they know no Django, and the edge translates.
TABLES = (("gear/rules/tables.py", "REFUSALS"), ("gear/rules/values.py", "MESSAGES"))
_CALLS = {"_": 1, "gettext": 1, "gettext_lazy": 1, "ngettext": 2, "ngettext_lazy": 2, "pgettext": -1,
          "pgettext_lazy": -1, "gettext_noop": 1}  # fmt: skip
_LITERAL = r"""(u?(?:"(?:\\.|[^"\\])*"|'(?:\\.|[^'\\])*'))"""
_CALL = re.compile(rf"\b(gettext|_|ngettext|pgettext)\(\s*{_LITERAL}(?:\s*,\s*{_LITERAL})?")

Key = tuple[str, str]  # context and English text


@dataclass
class Message:
    """One entry of a catalog: its translations, one for each number where `plural` is the English plural."""

    plural: str = ""
    texts: list[str] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)


def collected(patterns: tuple[str, ...] = FIELD, root: Path = ROOT) -> dict[Key, str]:
    """The texts that these files give to translation, each with its plural or nothing."""
    found: dict[Key, str] = {}
    for pattern in patterns:
        for path in sorted(root.glob(pattern)):
            source = path.read_text(encoding="utf-8")
            texts = _in_module(source) if path.suffix == ".py" else _in_template(source)
            for context, text, plural in texts:
                found[context, text] = plural or found.get((context, text), "")
    return found


def tabled(root: Path = ROOT) -> dict[Key, str]:
    """The plain sentences of the rules that the edge translates."""
    found: dict[Key, str] = {}
    for name, table in TABLES:
        for node in ast.parse((root / name).read_text(encoding="utf-8")).body:
            if isinstance(node, ast.AnnAssign) and getattr(node.target, "id", "") == table:
                found |= {("", text): "" for text in ast.literal_eval(node.value).values()}  # type: ignore[arg-type]
    return found


def _in_module(source: str) -> Iterator[tuple[str, str, str]]:
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "id", "") or getattr(node.func, "attr", "")
        texts = [
            arg.value for arg in node.args if isinstance(arg, ast.Constant) and isinstance(arg.value, str)
        ]
        if name in _CALLS and texts:
            wanted = _CALLS[name]
            if wanted == -1 and len(texts) > 1:
                yield texts[0], texts[1], ""
            elif wanted > 0:
                yield "", texts[0], texts[1] if wanted == 2 and len(texts) > 1 else ""


def _in_template(source: str) -> Iterator[tuple[str, str, str]]:
    for name, first, second in _CALL.findall(templatize(source)):
        one, two = ast.literal_eval(first), ast.literal_eval(second) if second else ""
        yield (one, two, "") if name == "pgettext" else ("", one, two if name == "ngettext" else "")


def read_catalog(path: Path) -> dict[Key, Message]:
    """The entries of a .po file, its header under ("", "")."""
    found: dict[Key, Message] = {}
    for block in re.split(r"\n\s*\n", path.read_text(encoding="utf-8")):
        parts: dict[str, str] = {}
        comments, last = [], ""
        for line in block.splitlines():
            if line.startswith("#"):
                comments.append(line)
            elif begun := re.match(r'(msgctxt|msgid_plural|msgid|msgstr(?:\[\d\])?)\s+(".*")$', line):
                last, parts[begun[1]] = begun[1], ast.literal_eval(begun[2])
            elif line.startswith('"'):
                parts[last] += ast.literal_eval(line)
        if "msgid" in parts:
            texts = [parts[name] for name in sorted(parts) if name.startswith("msgstr")]
            key = (parts.get("msgctxt", ""), parts["msgid"])
            found[key] = Message(parts.get("msgid_plural", ""), texts, comments)
    return found


def compiled(catalog: Mapping[Key, Message]) -> bytes:
    """The catalog as gettext reads it (GNU .mo, little-endian, no hash table)."""
    pairs = sorted(
        (_original(key, one), "\0".join(one.texts).encode()) for key, one in catalog.items() if any(one.texts)
    )
    count, offset = len(pairs), 28 + 16 * len(pairs)
    tables: tuple[list[int], list[int]] = ([], [])
    body = b""
    for side, table in enumerate(tables):
        for pair in pairs:
            table += [len(pair[side]), offset + len(body)]
            body += pair[side] + b"\0"
    head = struct.pack("<7I", 0x950412DE, 0, count, 28, 28 + 8 * count, 0, offset)
    return head + struct.pack(f"<{4 * count}I", *tables[0], *tables[1]) + body


def _original(key: Key, one: Message) -> bytes:
    context, text = key
    whole = f"{context}\x04{text}" if context else text
    return (f"{whole}\0{one.plural}" if one.plural else whole).encode()


def catalogs() -> dict[str, Path]:
    """language: its catalog. English needs none."""
    folder = Path(settings.LOCALE_PATHS[0])
    return {path.parent.parent.name: path for path in sorted(folder.glob("*/LC_MESSAGES/django.po"))}


class Command(BaseCommand):
    help = "Compiles the catalogs of other languages and tells what the field screens say that they lack."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="write nothing; tell what is missing")

    def handle(self, *args: Any, **options: Any) -> None:
        lacking = 0
        for language, path in catalogs().items():
            catalog = read_catalog(path)
            if not options["dry_run"]:
                path.with_suffix(".mo").write_bytes(compiled(catalog))
            missing = [text for (context, text) in collected() if (context, text) not in catalog]
            lacking += len(missing)
            for text in missing:
                self.stdout.write(f"{language}: {text}")
        if lacking:
            raise CommandError(f"{lacking} texts of the field screens have no translation.", returncode=1)
