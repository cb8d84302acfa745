"""Print what becomes of a file, line by line, as text for a person or as JSON for a program."""

from __future__ import annotations

import hashlib
import json
import textwrap
from argparse import ArgumentParser
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from gear import wording
from gear.actions.acting import Act
from gear.actions.committing import BY_COMMAND, Limits
from gear.rules.fates import Fate, Report
from gear.rules.tables import FileRefused, Problem

MOST_NAMES = 200
Sentence = Callable[[Problem], str]
Bringing = Callable[..., Report]


class FileCommand(BaseCommand):
    """A command that brings in a file. The dry run is the default; `--commit` stores all of the file or nothing.

    Exit status 1 when a line or the file is refused: then nothing was stored.
    """

    book: str
    dry_run: Bringing
    commit: Bringing
    sentence: Sentence = staticmethod(wording.line_problem)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help="CSV (UTF-8) or XLSX with a header row")
        parser.add_argument(
            "--commit", action="store_true", help="store the file; without it nothing is stored"
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="only tell every line's fate; this is the default"
        )
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["commit"] and options["dry_run"]:
            raise CommandError("Give --commit or --dry-run, not both.")
        path = Path(options["file"])
        data = read_file(path, BY_COMMAND)
        bring = type(self).commit if options["commit"] else type(self).dry_run
        try:
            report = bring(path.name, data, act=Act(None, via="import"), limits=BY_COMMAND)
        except FileRefused as error:
            self._tell_refused(path.name, data, error, options["format"])
            raise CommandError(f"{path.name}: {wording.file_refused(error)} Nothing was stored.") from None
        if options["format"] == "json":
            self.stdout.write(json.dumps(as_json(report, self.sentence), ensure_ascii=False, indent=1))
        else:
            for line in as_text(report, self.sentence):
                self.stdout.write(line)
        if report.refused:
            raise CommandError(summary(report))

    def _tell_refused(self, name: str, data: bytes, error: FileRefused, format_: str) -> None:
        if format_ == "json":
            told = refused_as_json(self.book, name, data, error)
            self.stdout.write(json.dumps(told, ensure_ascii=False, indent=1))


def read_file(path: Path, limits: Limits) -> bytes:
    """The bytes of a file; never more than one past the limit, so that an endless one is refused and not read."""
    try:
        with path.open("rb") as file:
            return file.read(limits.bytes + 1)
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}. Check the path.") from None


def as_text(report: Report, sentence: Sentence) -> Iterator[str]:
    """One line for every line of the file, then what is made beside them, then the totals."""
    for fate in report.fates:
        yield fate_line(fate, sentence)
    made = _("made") if report.committed else _("to be made")
    for what, names in report.creates.items():
        if names:
            yield from named(f"{what} {made}, {len(names)}: ", names)
    if report.outcomes:
        yield ", ".join(f"{count} {outcome}" for outcome, count in sorted(report.outcomes.items()))
    yield summary(report)


def named(head: str, names: Sequence[str]) -> list[str]:
    """The names after their heading, folded to lines that fit a terminal; of very many the first ones."""
    more = [_("and %s more") % (len(names) - MOST_NAMES)] if len(names) > MOST_NAMES else []
    text = wording.visible("; ".join([*names[:MOST_NAMES], *more]))
    return textwrap.wrap(head + text, width=110, subsequent_indent="    ", break_on_hyphens=False)


def fate_line(fate: Fate, sentence: Sentence) -> str:
    """`line 12: G-00011 refused: length_mm looks like another unit: 14. Give it in mm.`"""
    word = f"{fate.word}, {fate.outcome}" if fate.outcome else fate.word
    subject = f"{wording.visible(fate.subject)} " if fate.subject else ""
    said = [sentence(problem) for problem in (*fate.problems, *fate.notes)]
    return f"line {fate.line}: {subject}{word}" + (f": {' '.join(said)}" if said else "")


def summary(report: Report) -> str:
    """The totals in one line, and whether anything was stored."""
    totals = report.totals
    counted = (
        f"{totals['lines']} lines: {totals['new']} new, {totals['known']} known, {totals['refused']} refused, "
        f"{totals['notes']} with a note."
    )
    if report.refused:
        return (
            f"{counted} {_('Nothing was stored. Correct the refused lines and import the whole file again.')}"
        )
    if report.committed:
        return (
            f"{counted} {_('Stored.')}"
            if totals["new"]
            else f"{counted} {_('There was nothing new to store.')}"
        )
    return f"{counted} {_('Dry run: nothing was stored. Add --commit to store it.')}"


def as_json(report: Report, sentence: Sentence) -> dict[str, Any]:
    """The report as JSON: totals, what is made, and every line with its problems and notes."""
    return {
        "book": report.book,
        "file": report.name,
        "sha256": report.sha256,
        "committed": report.committed,
        "refused": report.refused,
        "totals": report.totals,
        "outcomes": report.outcomes,
        "creates": {what: list(names) for what, names in report.creates.items()},
        "rows": [
            {
                "line": fate.line,
                "item_no": fate.subject,
                "fate": fate.word,
                "outcome": fate.outcome or None,
                "problems": [_told(problem, sentence) for problem in fate.problems],
                "notes": [_told(problem, sentence) for problem in fate.notes],
            }
            for fate in report.fates
        ],
    }


def _told(problem: Problem, sentence: Sentence) -> dict[str, Any]:
    return {"code": problem.code, "field": problem.values.get("field"), "sentence": sentence(problem)}


def refused_as_json(book: str, name: str, data: bytes, error: FileRefused) -> dict[str, Any]:
    """A whole file refused, in the shape of `as_json`."""
    return {
        "book": book,
        "file": name,
        "sha256": hashlib.sha256(data).hexdigest(),
        "committed": False,
        "refused": True,
        "problem": {"code": error.code, "sentence": wording.file_refused(error)},
        "rows": [],
    }
