"""Do what a client sent exactly once, however often it sends it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from typing import Any
from uuid import UUID

from django.db import connection, transaction

from gear.actions.acting import Refused
from gear.ledger import IdReused, LedgerError, append
from gear.models import Submission, User
from gear.permissions import NotAllowed
from gear.rules.entries import BadFacts
from gear.rules.hashing import canonical


def once(
    client_id: UUID, *, act: str, body: Mapping[str, Any], by: User, work: Callable[[], dict[str, Any]]
) -> tuple[dict[str, Any], bool]:
    """(the answer, whether the work was done now). The same id with the same body gets the first answer again.

    Raises IdReused when the id came before with another body, for another act or from another person, and whatever
    `work` raises; then nothing but the refusal is stored.
    """
    fingerprint = hashlib.sha256(canonical([act, dict(body)])).hexdigest()
    refused: Exception | None = None
    with transaction.atomic():
        _one_at_a_time(client_id)
        known = Submission.objects.filter(pk=client_id).first()
        if known is not None:
            if (known.fingerprint, known.by_id) != (fingerprint, by.pk):
                raise IdReused()
            return known.answer, False
        try:
            answer = work()
        except (Refused, NotAllowed, LedgerError, BadFacts) as error:
            refused = error  # what was refused stays on record, so this transaction must not be rolled back
        else:
            append(Submission(id=client_id, by=by, act=act, fingerprint=fingerprint, answer=answer))
    if refused is not None:
        raise refused
    return answer, True


def _one_at_a_time(client_id: UUID) -> None:
    """Two sendings at once wait for each other. SQLite lets one writer in at a time anyway."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [client_id.int % 2**62])
