"""Is the file of the embedded database itself whole? (sqlite.org/pragma.html#pragma_integrity_check)

PostgreSQL looks after its own pages: see `data_checksums` and its log.
"""

from __future__ import annotations

from collections.abc import Iterator

from django.db import DatabaseError, connection
from django.utils.translation import gettext as _

from gear.ledger.problems import Problem
from gear.models import SiteHead

MOST_TOLD = 5


def file_problems() -> list[Problem]:
    """What SQLite finds wrong with its own file. The site is the subject: no answer may be given from such a file."""
    if connection.vendor != "sqlite":
        return []
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA integrity_check({MOST_TOLD})")
            found = [str(row[0]) for row in cursor.fetchall() if row[0] != "ok"]
    except DatabaseError as error:
        found = [str(error)]
    sentence = _(
        "The database file is damaged (%s). Every answer is unknown from now on. Stop the service, keep the file "
        "aside, look at the disk, and restore the newest verified backup."
    )
    return [Problem("site", "DATABASE_DAMAGED", sentence % told) for told in found[:MOST_TOLD]]


def stray_problems() -> Iterator[Problem]:
    """Rows that name a row of another table that is not there: the database itself would have refused them."""
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA foreign_key_check")
        found = cursor.fetchmany(MOST_TOLD)
    for table, row, parent, _key in found:
        sentence = _(
            "Row %(row)s of %(table)s names a row of %(parent)s that is not there: somebody wrote past this program. "
            "Run manage.py verify_ledger, and compare with an older backup."
        )
        told = {"row": row, "table": table, "parent": parent}
        yield Problem(f"table:{table}", "ROW_NAMES_NOTHING", sentence % told)


def answer_nothing() -> None:
    """Mark the site's own record, without which no rule counts: every answer is `unknown` until verify clears it."""
    if not SiteHead.objects.update(chain_ok=False):
        SiteHead.objects.create(entry_count=0, head_hash="", chain_ok=False)
