"""A bench day for tests: a session, and rows typed into it as the page types them."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from gear.actions.acting import Act
from gear.ledger import Draft, record_many
from gear.models import Item, Qualification
from inspections.actions.bench_rows import Typed, save_row
from inspections.actions.bench_sessions import Particulars, open_session
from inspections.models import BenchRow, BenchSession
from tests import builders


def day(by: Any, **stated: Any) -> BenchSession:
    """A session of in-service tests on AC, today, opened by somebody."""
    usual = {
        "tested_on": builders.today(),
        "bench": "Bench 1",
        "instrument": "M-1",
        "purpose": "in_service",
        "water": "tap water, 64 mm below the cuff",
    }
    return open_session(Particulars(**{**usual, **stated}), act=Act(by))


def typed(
    session: BenchSession, item: Item | str, reading: str | None = "12.5", *, by: Any, **cells: Any
) -> BenchRow:
    """A row as Enter saves it: both looks accepted unless `cells` say otherwise; milliohm for a jumper."""
    act = Act(by, id=cells.pop("id", None) or uuid4())
    is_cable = "cable_temp_c" in cells
    value = None if reading is None else Decimal(reading)
    stated = {
        "scan": item if isinstance(item, str) else item.item_no,
        "look_before": "accept",
        "look_after": "accept",
        "resistance_mohm" if is_cable else "leakage_ma": value,
    }
    return save_row(session, Typed(**{**stated, **cells}), act=act)


def in_service(*, count: int = 1, **columns: Any) -> list[Item]:
    """Gloves that were tested before, without a reading on record."""
    gloves = [builders.glove(**columns) for _one in range(count)]
    builders.tested(*gloves)
    return gloves


def qualified(person: Any, *, until: date) -> Qualification:
    """A qualification on file of somebody, through a day."""
    (entry,) = record_many(
        [Draft(None, "person_changed", {"person": person.username, "change": "qualified"})],
        by=None,
        via="system",
    )
    return Qualification.objects.create(
        person=person, from_on=until - timedelta(days=365), until_on=until, entry=entry
    )
