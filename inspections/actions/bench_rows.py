"""Rows of a bench session: type one, correct it, strike it, look again, have somebody else confirm it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import permissions
from gear.actions.acting import WORDS, Act, IdReused, depot_of
from gear.models import Item, User
from gear.rules import transitions, units
from gear.rules.fold import ItemFacts
from inspections import queries
from inspections.actions.bench_judging import (
    BenchRefused,
    OnTheBench,
    find_item,
    judge_row,
    on_the_bench,
    paper_of,
    reading_of,
)
from inspections.actions.bench_sessions import locked, stated_reason
from inspections.actions.testing import check_reading, made_on_of
from inspections.models import BenchRow, BenchSession
from inspections.rules.acceptance import FAILED, VOID
from inspections.rules.bench import GROUND, BenchSheet
from inspections.rules.bench_scan import reasons_needed


@dataclass(frozen=True)
class Typed:
    """One row as it was typed. V, s, mA, milliohm, degrees C, A. `scan` is what the scanner or the clerk said.

    Voltage and seconds that are None are those of the rules. `replaces` is the row that this one corrects, with `why`;
    `again` says that a void row of the same item is repeated.
    """

    scan: str
    leakage_ma: Decimal | None = None
    resistance_mohm: Decimal | None = None
    cable_temp_c: Decimal | None = None
    test_a: Decimal | None = None
    method: str = ""
    material: str = ""
    applied_v: int | None = None
    seconds: int | None = None
    look_before: str = ""
    look_after: str = ""
    breakdown: bool = False
    flashover: bool = False
    why: str = ""
    replaces: UUID | None = None
    again: bool = False


def save_row(session: BenchSession, typed: Typed, *, act: Act) -> BenchRow:
    """Write one row under the client's id; sent again it is the row that is there already.

    Raises NotAllowed, BenchRefused (with the field), BadTest, IdReused or LedgerError; then nothing was stored.
    """
    permissions.check_can(act.by, "log_test")
    with transaction.atomic():
        if known := _known(session, typed, act):
            return known
        session = locked(session)
        bench = on_the_bench([find_item(typed.scan)], session)[0]
        permissions.check_scope(act.by, depot_of(bench.facts), act="log_test")
        if code := transitions.refusal("log_test", bench.facts):
            raise BenchRefused(code, str(WORDS[code]), field="scan")
        older = _older_row(session, bench.item, typed)
        row = _row(session, typed, bench, act)
        _check_row(row, bench, session)
        if older is not None:
            row.replaces, row.retest = older, older.retest + (0 if typed.replaces else 1)
            _strike(older, why=typed.why or str(_("repeated")), by=act.by)
        judge_row(row, bench, session)
        row.save(force_insert=True)
    return row


def _known(session: BenchSession, typed: Typed, act: Act) -> BenchRow | None:
    """The row of this id, where it says the same. Raises IdReused where it says something else."""
    row = BenchRow.objects.select_related("item", "session").filter(pk=act.id).first()
    if row is None:
        return None
    names = ("leakage_ma", "resistance_mohm", "cable_temp_c", "breakdown", "flashover")
    same = row.item_id == find_item(typed.scan).pk
    same = same and all(getattr(row, name) == getattr(typed, name) for name in names)
    if row.session_id != session.pk or row.by_id != act.by.pk or not same:
        raise IdReused(
            _("This id was used before for another row. Nothing was stored; send it with a new id.")
        )
    return row


def _older_row(session: BenchSession, item: Item, typed: Typed) -> BenchRow | None:
    """The live row of the item that this one is typed in place of. Raises BenchRefused where it may not be."""
    live = session.rows.filter(item=item, struck=False).first()
    if typed.replaces and (live is None or live.pk != typed.replaces):
        raise BenchRefused("ROW_GONE", _("The row to be corrected is of another item, or counts no more."))
    if live is None:
        return None
    if live.test_id is not None:
        raise BenchRefused("ROW_POSTED", _("The row of this item was posted. Correct the test itself."))
    if typed.replaces:
        stated_reason(typed.why)
        return live
    now = queries.board(session).find(live.pk)
    if typed.again and now is not None and now.outcome == VOID:
        return live
    message = _(
        "%(item)s is in this session already, row %(row)s. Correct that row, or repeat it where it is void."
    )
    values = {"item": item.item_no, "row": live.position}
    raise BenchRefused("ALREADY_HERE", message % values, field="scan")


def _row(session: BenchSession, typed: Typed, bench: OnTheBench, act: Act) -> BenchRow:
    last = session.rows.order_by("-position").values_list("position", flat=True).first() or 0
    proof, seconds = bench.sheet.proof.get(session.supply), bench.sheet.seconds.get(session.purpose)
    is_cable = bench.facts.kind == GROUND
    compared = bench.facts.kind == "glove" and session.supply == "ac"
    return BenchRow(
        id=act.id, session=session, position=last + 1, item=bench.item, by=act.by, at=timezone.now(),
        leakage_ma=typed.leakage_ma, resistance_mohm=typed.resistance_mohm, cable_temp_c=typed.cable_temp_c,
        test_a=typed.test_a if is_cable else None, method=typed.method if is_cable else "",
        material=typed.material if is_cable else "",
        applied_v=typed.applied_v if typed.applied_v is not None or proof is None else int(proof.value),
        seconds=typed.seconds if typed.seconds is not None or seconds is None else int(seconds.value),
        look_before=typed.look_before, look_after=typed.look_after, breakdown=typed.breakdown,
        flashover=typed.flashover, why=typed.why, earlier_ma=queries.last_accepted_ma(bench.item) if compared else None,
    )  # fmt: skip


def _check_row(row: BenchRow, bench: OnTheBench, session: BenchSession) -> None:
    """Raise BenchRefused or BadTest for what must be typed, or needs a reason, or cannot be."""
    ended = row.breakdown or row.flashover or {row.look_before, row.look_after} & {"reject", "clean", "test"}
    needed = () if session.supply == "dc" and bench.facts.kind == "glove" else bench.sheet.reads
    for name in needed:
        if not ended and getattr(row, name) is None:
            field = "cable_temp_c" if name == "cable_temp_c" else "reading"
            raise BenchRefused("READING_MISSING", MISSING[name](), field=field)
    check_reading(reading_of(row, session), paper_of(row, session), made_on=made_on_of(bench.facts))
    check_reason(row, bench.sheet, bench.facts, session)


def check_reason(row: BenchRow, sheet: BenchSheet, facts: ItemFacts, session: BenchSession) -> None:
    """Raise BenchRefused for what counts only with a reason, where the row gives none."""
    if row.why:
        return
    stated = {"purpose": session.purpose, "supply": session.supply}
    for notice in reasons_needed(sheet, facts, applied_v=row.applied_v, seconds=row.seconds, **stated):
        values = {
            name: units.kv_from_volts(value) if name.endswith("_v") else value
            for name, value in notice.values.items()
        }
        raise BenchRefused(notice.code, NEEDS_REASON[notice.code]() % values, field="why")


MISSING: Mapping[str, Any] = {
    "leakage_ma": lambda: _("Type the current, in mA."),
    "resistance_mohm": lambda: _("Type the resistance, in milliohm."),
    "cable_temp_c": lambda: _("Type the temperature of the cable, in °C. Without it nobody can say."),
}
NEEDS_REASON: Mapping[str, Any] = {
    "VOLTAGE_DIFFERS": lambda: _(
        "%(applied_v)s kV is not the proof voltage of its class, %(proof_v)s kV. Say why it was applied."
    ),
    "SHORT_FOR_FIRST": lambda: _(
        "The book knows no test and no issue of this piece, and a first test lasts %(required)s s, not %(seconds)s. "
        "Say why this is not its first test."
    ),
}


def strike_row(row: BenchRow, *, why: str, checker: User | None = None, act: Act) -> BenchRow:
    """Strike a row out: it counts no more and stays readable. One that failed needs another person who agrees.

    Raises NotAllowed or BenchRefused.
    """
    permissions.check_can(act.by, "log_test")
    with transaction.atomic():
        row = _live(row)
        if row.outcome == FAILED:
            _check_checker(checker, row, act)
            row.checker, row.checked_at = checker, timezone.now()
        _strike(row, why=why, by=act.by)
    return row


def _strike(row: BenchRow, *, why: str, by: User | None) -> None:
    row.struck, row.struck_why, row.struck_by, row.struck_at = (
        True,
        stated_reason(why),
        by,
        timezone.now(),
    )
    row.save(update_fields=["struck", "struck_why", "struck_by", "struck_at", "checker", "checked_at"])


def give_looks(row: BenchRow, *, before: str = "", after: str = "", act: Act) -> BenchRow:
    """State a look that is still to come: gloves are dried and inflated after the bench. Raises BenchRefused."""
    permissions.check_can(act.by, "log_test")
    with transaction.atomic():
        row = _live(row)
        for name, look in (("look_before", before), ("look_after", after)):
            if look and getattr(row, name) not in ("", look):
                raise BenchRefused("LOOK_STATED", _("This look is stated already. Correct the row instead."))
            setattr(row, name, look or getattr(row, name))
        row.looked_by = act.by
        judge_row(row, on_the_bench([row.item], row.session)[0], row.session)
        row.save(update_fields=["look_before", "look_after", "looked_by", "judged", "outcome"])
    return row


def confirm_rows(
    session: BenchSession, ids: Sequence[UUID], *, checker: User | None, act: Act
) -> list[BenchRow]:
    """Another person confirms rows that are in doubt; the name is kept. Raises NotAllowed or BenchRefused."""
    permissions.check_can(act.by, "log_test")
    with transaction.atomic():
        session = locked(session)
        rows = list(session.rows.filter(pk__in=ids, struck=False, test__isnull=True).select_related("by"))
        for row in rows:
            _check_checker(checker, row, act)
            row.checker, row.checked_at = checker, timezone.now()
        BenchRow.objects.bulk_update(rows, ["checker", "checked_at"], batch_size=100)
    return rows


def _check_checker(checker: User | None, row: BenchRow, act: Act) -> None:
    if checker is None or not checker.is_active or checker.pk in (row.by_id, act.by.pk):
        message = _("Another person than the one who typed it must look at it and agree. Name who does.")
        raise BenchRefused("CHECKER_NEEDED", message, field="checker")


def _live(row: BenchRow) -> BenchRow:
    """The row, with its session held. Raises BenchRefused where it counts no more or was posted."""
    session = locked(row.session)
    row = BenchRow.objects.select_related("item", "by", "checker").get(pk=row.pk)
    row.session = session
    if row.struck or row.test_id is not None:
        raise BenchRefused(
            "ROW_GONE", _("This row was struck out or posted meanwhile. Look at the session again.")
        )
    return row
