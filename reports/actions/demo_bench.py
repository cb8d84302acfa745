"""The demo's bench day: a session that is open, with twelve rows: nine accepted, two rejected, one to be repeated."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal

from gear.actions.acting import Act
from gear.models import Item, ItemState
from inspections.actions.bench_rows import Typed, save_row
from inspections.actions.bench_sessions import Particulars, open_session

# mA of class 2 gloves of 14 inches, as the meter shows them: one above its limit of 16, one with the lead off
READINGS = ("11.8", "12.4", "12.1", "16.4", "12.9", "12.2", "0", "11.9", "12.6", "12.3", "12.0")
SEEN = Typed("", look_before="accept", look_after="accept")


def bench_day(today: date, act: Callable[..., Act]) -> None:
    """Open a session and type its rows; it waits to be looked over and posted."""
    stated = Particulars(
        tested_on=today,
        bench="Tannery Road bench",
        instrument="M-1",
        purpose="in_service",
        ambient_c=Decimal("19.5"),
        humidity_pct=Decimal(52),
        water="tap water, changed today, 64 mm below the cuff",
    )
    session = open_session(stated, act=act("orla"))
    for glove, reading in zip(_gloves(len(READINGS)), READINGS, strict=False):
        row = replace(SEEN, scan=glove.item_no, leakage_ma=Decimal(reading))
        save_row(session, row, act=act("orla"))
    two_noughts = {"cable_size": "2/0", "cable_length_m": Decimal("3.048")}
    for jumper in _usable("grounding_jumper", at="truck", **two_noughts)[:1]:
        warm = replace(
            SEEN,
            scan=jumper.item_no,
            resistance_mohm=Decimal("1.250"),
            cable_temp_c=Decimal(35),
            method="dc_drop",
            material="copper",
            test_a=Decimal(100),
        )
        save_row(session, warm, act=act("orla"))


def _gloves(count: int) -> list[Item]:
    return _usable("glove", cls="2", length_mm=360)[:count]


def _usable(kind: str, *, at: str = "shelf", **columns: object) -> list[Item]:
    """Pieces at a shelf or truck that were tested before and that nothing speaks against, in order of number."""
    shared = {f"item__item_type__{name}": value for name, value in {"kind": kind, **columns}.items()}
    states = ItemState.objects.filter(
        condition="ok", holder__kind=at, last_test_on__isnull=False, **shared
    ).select_related("item")
    return [state.item for state in states.order_by("item__item_no")[:20]]
