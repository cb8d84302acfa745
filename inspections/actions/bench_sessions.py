"""Bench sessions as working paper: open one, correct what its rows share, abandon it.

Nothing here touches the ledger; that is done by posting (inspections.actions.bench_posting), as one act.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import permissions
from gear.actions.acting import WORDS, Act
from gear.ledger import site_zone
from gear.rules.moments import local_day
from inspections.actions.bench_judging import BenchRefused, judge_row, on_the_bench
from inspections.models import BenchRow, BenchSession
from inspections.rules.acceptance import FAILED

TRIES = 5  # two people may be given the same next number at the same moment
LONGEST_REASON = 200


@dataclass(frozen=True)
class Particulars:
    """What a session is opened with; degrees C, per cent, blank or None where it is not stated."""

    tested_on: date
    bench: str
    instrument: str
    purpose: str
    supply: str = "ac"
    ambient_c: Decimal | None = None
    humidity_pct: Decimal | None = None
    water: str = ""


def stated_reason(text: str) -> str:
    """The reason as given, trimmed. Raises BenchRefused beside its field where there is none."""
    text = " ".join((text or "").split())
    if not text:
        raise BenchRefused("NO_REASON", str(WORDS["NO_REASON"]), field="why")
    return text[:LONGEST_REASON]


def open_session(stated: Particulars, *, act: Act) -> BenchSession:
    """Open a session under the next free number. Raises NotAllowed or BenchRefused."""
    permissions.check_can(act.by, "log_test")
    _check_day(stated.tested_on)
    for _once in range(TRIES):
        try:
            with transaction.atomic():
                return BenchSession.objects.create(
                    number=_next_number(), opened_by=act.by, opened_at=timezone.now(), **vars(stated)
                )
        except IntegrityError:
            continue
    raise BenchRefused("BUSY", _("Somebody else opened sessions at the same moment. Try again."))


def _next_number() -> str:
    newest = BenchSession.objects.order_by("-pk").values_list("number", flat=True).first()
    return f"BS-{int(newest.removeprefix('BS-')) + 1 if newest else 1:04d}"


def _check_day(day: date) -> None:
    if day > local_day(timezone.now(), site_zone()):
        raise BenchRefused("TEST_IN_FUTURE", _("This day lies in the future."), field="tested_on")


def change_session(session: BenchSession, stated: Particulars, *, act: Act) -> BenchSession:
    """Correct what all rows share; every row is judged again. Raises NotAllowed or BenchRefused.

    No row that failed gets better by it: that takes a second person, row by row.
    """
    permissions.check_can(act.by, "log_test")
    _check_day(stated.tested_on)
    with transaction.atomic():
        session = locked(session)
        if session.rows.filter(test__isnull=False).exists():
            raise BenchRefused(
                "POSTED_IN_PART", _("Rows of this session were posted; what they share stands.")
            )
        for name, value in vars(stated).items():
            setattr(session, name, value)
        session.save(update_fields=list(vars(stated)))
        rows = list(
            session.rows.filter(struck=False, test__isnull=True).select_related("item__item_type", "by")
        )
        failed = [row for row in rows if row.outcome == FAILED]
        for row, bench in zip(rows, on_the_bench([row.item for row in rows], session), strict=True):
            judge_row(row, bench, session)
        if better := [row.item.item_no for row in failed if row.outcome != FAILED]:
            message = _(
                "Failed, and would fail no more: %s. Scan each and strike its row with another person first."
            )
            raise BenchRefused("FAILED_GETS_BETTER", message % ", ".join(better[:10]))
        BenchRow.objects.bulk_update(rows, ["outcome", "judged"], batch_size=100)
    return session


def abandon_session(session: BenchSession, *, why: str, act: Act) -> BenchSession:
    """Close a session without posting it. It stays readable. Raises NotAllowed or Refused.

    What failed would be lost with it: each such row is posted, or struck out before a second person, first.
    """
    permissions.check_can(act.by, "log_test")
    with transaction.atomic():
        session = locked(session)
        if session.rows.filter(test__isnull=False).exists():
            raise BenchRefused(
                "POSTED_IN_PART", _("Rows of this session were posted. Post or strike the rest.")
            )
        _check_none_failed(session)
        session.state, session.abandoned_by, session.abandoned_at = "abandoned", act.by, timezone.now()
        session.abandoned_why = stated_reason(why)
        session.save(update_fields=["state", "abandoned_by", "abandoned_at", "abandoned_why"])
    return session


def _check_none_failed(session: BenchSession) -> None:
    failed = session.rows.filter(struck=False, outcome=FAILED).order_by("position")
    if numbers := list(failed.values_list("item__item_no", flat=True)[:10]):
        message = _(
            "Failed and not posted: %s. Post the session, or scan each and strike its row with another person."
        )
        raise BenchRefused("FAILED_ROWS", message % ", ".join(numbers))


def locked(session: BenchSession) -> BenchSession:
    """The session, held until the transaction ends. Raises BenchRefused unless it is open."""
    session = BenchSession.objects.select_for_update().get(pk=session.pk)
    if not session.is_open:
        message = {
            "posted": _("This session was posted. It takes no more rows; open another."),
            "abandoned": _("This session was abandoned. It takes no more rows; open another."),
        }
        raise BenchRefused("SESSION_CLOSED", message[session.state])
    return session
