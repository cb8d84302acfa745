"""What committing any file has in common: size limits, one transaction tried again when writers meet, the file kept."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from django.db import DatabaseError, IntegrityError, OperationalError, transaction

from gear.actions.acting import Act, keep_refusal
from gear.ledger import append
from gear.ledger.writers import join_writers
from gear.models import ImportedFile
from gear.rules.fates import KNOWN, NEW, Report
from gear.rules.tables import COMMAND_ROWS, PAGE_BYTES, PAGE_ROWS, FileRefused

TRIES = 5
Result = TypeVar("Result")


@dataclass(frozen=True)
class Limits:
    """The largest file that is read at all: bytes and rows."""

    bytes: int
    rows: int


BY_PAGE = Limits(PAGE_BYTES, PAGE_ROWS)
BY_COMMAND = Limits(200 * 1024 * 1024, COMMAND_ROWS)


def commit_file(book: str, name: str, work: Callable[[], Report], *, act: Act) -> Report:
    """Run the work of committing a file; a refusal is kept, and nothing else of the file is."""
    try:
        report = committed(work)
    except FileRefused as error:
        keep_refusal(f"import_{book}", name, act, code=error.code, detail=str(error))
        raise
    if report.refused:
        detail = (
            f"{report.totals['refused']} of {report.totals['lines']} lines refused; sha256 {report.sha256}"
        )
        keep_refusal(f"import_{book}", name, act, code="LINES_REFUSED", detail=detail)
    return report


def committed(work: Callable[[], Result]) -> Result:
    """Run `work` in one transaction, from the start again when another writer was in its way.

    Another file or person may have made the same item, crew or test in the meantime: the next try finds it there.
    """
    for attempt in range(1, TRIES + 1):
        try:
            with transaction.atomic():
                join_writers()
                return work()
        except (IntegrityError, OperationalError) as error:
            if attempt == TRIES or not _met_another(error):
                raise
            time.sleep(random.uniform(0.05, 0.2) * attempt)  # noqa: S311 - spreads writers, guards nothing
    raise AssertionError("unreachable")


def _met_another(error: DatabaseError) -> bool:
    """Whether trying again may help: a row that somebody made first, a deadlock, a serialization failure."""
    if isinstance(error, IntegrityError):
        return True
    return getattr(error.__cause__, "sqlstate", None) in ("40001", "40P01")


def keep_file(book: str, name: str, data: bytes, report: Report, act: Act) -> ImportedFile:
    """Keep the file as it came, with what became of its rows."""
    kept = ImportedFile(
        by=act.by,
        book=book,
        name=name[:200],
        sha256=report.sha256,
        content=data,
        rows_new=report.totals[NEW],
        rows_known=report.totals[KNOWN],
    )
    append(kept)
    return kept
