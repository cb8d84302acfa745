"""Who may write when: writers go side by side, a seal waits for all of them, and nothing slips in behind a seal."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import OperationalError, connection
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.models import Seal

_WRITERS = 7_350_127  # the advisory lock that writers share and a seal takes alone (PostgreSQL)
_PATIENCE_MS = 2000
_NEXT = timedelta(microseconds=1)


def join_writers() -> datetime:
    """Hold off a seal until this transaction ends; the moment of recording for what it writes.

    The moment is now, or just after the last seal where the clock of this server lags behind the one that sealed:
    membership in a seal goes by the moment of recording, so it may never lie before a seal that is made already.
    To be called inside a transaction, before any row is locked, so that a waiting seal can never stand between
    two writers. SQLite lets one writer in at a time, which holds off the seal by itself.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock_shared(%s)", [_WRITERS])
    sealed_at = Seal.objects.order_by("-number").values_list("sealed_at", flat=True).first()
    now = timezone.now()
    return now if sealed_at is None else max(now, sealed_at + _NEXT)


class WritersBusy(Exception):
    """An act that takes long (an import) is under way, so nothing can be sealed now. Try again later."""


def hold_writers() -> None:
    """Wait for every act under way and keep new ones waiting, until the transaction ends (for seals).

    Raises WritersBusy after two seconds: whoever waits at a gate for an answer waits behind this, and an import
    may take minutes.
    """
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('lock_timeout', %s, true)", [f"{_PATIENCE_MS}ms"])
        try:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_WRITERS])
        except OperationalError as error:
            raise WritersBusy(
                _("An act that takes long is under way, so nothing can be sealed now. Try again later.")
            ) from error
