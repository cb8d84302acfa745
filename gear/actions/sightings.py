"""Keep what the screen told somebody about a piece, and that somebody looked into a scrapped one that turned up."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import IntegrityError, connection, transaction
from django.utils.translation import gettext as _

from gear.actions.acting import Act, Refused, check, enter, keeping_refusals, reason_in
from gear.ledger import IdReused, append
from gear.models import Entry, GivenAnswer, Item, SightingNote, User
from gear.queries import Question, Scanned, Seen, question
from gear.queries.sightings import open_sightings

log = logging.getLogger(__name__)
PATIENCE_MS = 2000  # a worker waits at the gate: no answer is held back for a busy database


def keep_answer(scanned: Scanned, asked: Question, *, typed: str, by: User | None, device: str = "") -> bool:
    """Append the answer that is about to be shown; whether that worked.

    Never raises: a record that cannot be kept changes no answer. It then stands in the log instead.
    """
    answer = scanned.answer
    row = {
        "code": _printable(scanned.code or typed, 64),
        "verdict": answer.verdict,
        "good_through": answer.good_through,
        "reasons": [reason.code for reason in answer.reasons],
        "rule_pack": answer.rule_pack[:60],
        "device": _printable(device, 80),
    }
    try:
        with _without_waiting():
            append(GivenAnswer(by=by, item=scanned.item, data_age_s=0, **row))
    except Exception:
        log.exception(
            "An answer given could not be stored: %s",
            json.dumps({**row, "at": asked.asked_at.isoformat(), "by": by.pk if by else None}, default=str),
        )
        return False
    return True


def keep_shown(shown: GivenAnswer) -> bool:
    """Append an answer that a phone showed and sends under the id it made for it; False where it is kept already.

    Raises IdReused where the id came before with another answer.
    """
    known = GivenAnswer.objects.filter(pk=shown.pk).first()
    if known is None:
        try:
            with transaction.atomic():
                append(shown)
                return True
        except IntegrityError:  # the same sending at the same moment
            known = GivenAnswer.objects.get(pk=shown.pk)
    names = ("by_id", "item_id", "code", "verdict", "good_through", "reasons", "device")
    if any(getattr(known, name) != getattr(shown, name) for name in names):
        raise IdReused(_("This id was used before for another record. Nothing was recorded."))
    return False


def _printable(text: str, longest: int) -> str:
    return "".join(symbol for symbol in text if symbol.isprintable())[:longest]


@contextmanager
def _without_waiting() -> Iterator[None]:
    """SQLite lets one write at a time, and an import may be at it for longer than anyone would stand at a gate."""
    if connection.vendor != "sqlite":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT set_config('lock_timeout', %s, true)", [f"{PATIENCE_MS}ms"])
            yield
        return
    with connection.cursor() as cursor:
        usual = int(cursor.execute("PRAGMA busy_timeout").fetchone()[0])
        cursor.execute(f"PRAGMA busy_timeout = {PATIENCE_MS}")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA busy_timeout = {usual}")


def keep_if_scrapped(seen: Seen, *, typed: str, by: User) -> None:
    """A scrapped piece that lies on a bench or a counter is told to the supervisor like one scanned at a truck."""
    if seen.facts is not None and seen.facts.destroyed:
        keep_answer(Scanned(seen, ""), question(), typed=typed, by=by)


def acknowledge(item: Item, *, text: str, act: Act) -> Entry:
    """Note on the record of a scrapped piece what came of it that it turned up; its open sightings are closed by it.

    Raises Refused where nothing is open or nothing is said, or NotAllowed.
    """
    with keeping_refusals("acknowledge", item.item_no, act):
        check("acknowledge", item, act)  # locks the piece: two notes cannot close the same sighting
        found = open_sightings(item)
        if not found:
            raise Refused("NOTHING_OPEN")
        entry = enter(item, "noted", {"note": reason_in(text)}, act)
        for answer in found[0].answers:
            SightingNote(answer=answer, entry=entry).save()
        return entry
