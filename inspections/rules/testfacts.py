"""A judged test as its entry says it, and back: facts to record, typed columns, and when two tests are the same one."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from gear.rules.hashing import canonical
from gear.rules.packs import RUBBER_KINDS, Figure
from inspections.rules.acceptance import Finding, Judgement, Reading, TestedItem

NUMBERS = ("applied_v", "seconds", "leakage_ma", "resistance_mohm", "cable_temp_c", "test_a")
WHOLE = ("applied_v", "seconds")
FLAGS = ("breakdown", "flashover")
PAPER = ("lab_result", "lab", "instrument", "report_no")
LOOKED = ("look_before", "look_after")
WAY = ("method", "material")  # of a jumper
ROOM = ("ambient_c", "humidity_pct")
# What a bench session adds. With its number among what was stated, tests of two sessions are never one and the same.
SESSION = ("session", "operator", "checker", "bench", "water", *ROOM, "retest")
ROWS_OF_SESSION = ("operator", "checker", "bench", "water")  # those that have a column of their own
CALIBRATIONS = ("on_file", "expired", "not_on_file", "not_stated")


@dataclass(frozen=True)
class Paper:
    """What came with a test besides its readings; blank is "not stated". `lab_result` is compared, never believed.

    From `session` on it is what a bench session knows: its number, usernames, the room in degrees C and per cent, and
    how many void tests of the item came before in the same session.
    """

    lab_result: str = ""
    lab: str = ""
    instrument: str = ""
    report_no: str = ""
    session: str = ""
    operator: str = ""
    checker: str = ""
    bench: str = ""
    water: str = ""
    ambient_c: Decimal | None = None
    humidity_pct: Decimal | None = None
    retest: int | None = None


def plain(value: Decimal) -> str:
    """The one text of a number: 16.0 and 16.000 are both "16"."""
    text = format(value.normalize() + 0, "f")
    return "0" if text == "-0" else text


def tested_item(identity: Mapping[str, Any]) -> TestedItem:
    """What a judgement needs of an item, from the identity in its folded facts."""
    length_m = identity.get("cable_length_m")
    return TestedItem(
        kind=identity.get("kind") or "",
        cls=identity.get("class"),
        length_mm=identity.get("length_mm"),
        cable_size=identity.get("cable_size"),
        cable_length_mm=int(Decimal(length_m) * 1000) if length_m else None,
    )


def judged_as(identity: Mapping[str, Any], *, supply: str | None) -> dict[str, Any]:
    """Exactly the identity fields that the judgement rests on, as they stand in the identity.

    When one of them is corrected later the test no longer speaks for the item. The length of a glove counts unless
    the test was on DC, where no current limit applies.
    """
    kind = identity.get("kind")
    names = ["kind"]
    if kind == "grounding_jumper":
        names += ["cable_size", "cable_length_m"]
    elif kind in (*RUBBER_KINDS, "rigid_cover"):
        names.append("class")
        if kind == "glove" and supply != "dc":
            names.append("length_mm")
    return {name: identity.get(name) for name in names}


def stated(reading: Reading, paper: Paper) -> dict[str, Any]:
    """The cells of the test book that were filled in, `tested_on` and `purpose` apart, as JSON values."""
    cells = {name: getattr(reading, name) for name in ("supply", *NUMBERS, "visual", *FLAGS, *LOOKED, *WAY)}
    cells |= {name: getattr(paper, name) for name in (*PAPER, *SESSION)}
    return {
        name: plain(value) if isinstance(value, Decimal) else value
        for name, value in cells.items()
        if value is not None and value != ""
    }


def facts_of(
    reading: Reading, paper: Paper, judgement: Judgement, *, identity: Mapping, pack: str, calibration: str
) -> dict[str, Any]:
    """The facts of a `tested` entry. `calibration` is one of CALIBRATIONS, as the register stood."""
    facts: dict[str, Any] = {
        "outcome": judgement.outcome,
        "purpose": reading.purpose,
        "pack": pack,
        "judged_as": judged_as(identity, supply=reading.supply),
        "readings": {**stated(reading, paper), "calibration": calibration},
        "codes": [{"code": one.code, **_json(one.values)} for one in judgement.codes],
        "effects": sorted(judgement.effects),
        "limit": _limit(judgement),
    }
    return {name: value for name, value in facts.items() if value or name == "judged_as"}


def verdict_of(judgement: Judgement) -> dict[str, Any]:
    """A judgement alone as JSON, which `recorded` reads back."""
    return {
        "outcome": judgement.outcome,
        "codes": [{"code": one.code, **_json(one.values)} for one in judgement.codes],
        "effects": sorted(judgement.effects),
        "limit": _limit(judgement),
    }


def _limit(judgement: Judgement) -> dict[str, Any]:
    figures = {"limit_ma": judgement.limit, "proof_v": judgement.proof}
    limit: dict[str, Any] = {name: _figure(figure) for name, figure in figures.items() if figure is not None}
    return limit | ({"details": _json(judgement.details)} if judgement.details else {})


def _figure(figure: Figure) -> dict[str, Any]:
    return {
        "value": _json_value(figure.value),
        "source": figure.source,
        "clause": figure.clause,
        "status": figure.status,
        "confirm": figure.confirm,
    }


def _json(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _json_value(value) for name, value in values.items()}


def _json_value(value: Any) -> Any:
    return plain(value) if isinstance(value, Decimal) else value


def recorded(facts: Mapping[str, Any]) -> Judgement:
    """The judgement as it was recorded; nothing is judged again. Raises KeyError or ArithmeticError on other facts."""
    limit = facts.get("limit", {})
    return Judgement(
        facts["outcome"],
        tuple(
            Finding(one["code"], {name: value for name, value in one.items() if name != "code"})
            for one in facts.get("codes", [])
        ),
        _back(limit.get("limit_ma")),
        _back(limit.get("proof_v")),
        frozenset(facts.get("effects", [])),
        {name: Decimal(value) for name, value in limit.get("details", {}).items()},
    )


def _back(stored: Mapping[str, Any] | None) -> Figure | None:
    if stored is None:
        return None
    value = stored["value"]
    number = Decimal(value) if isinstance(value, str) else value
    return Figure(number, stored["source"], stored["clause"], stored["status"], stored["confirm"])


def columns_of(facts: Mapping[str, Any], *, item_no: str, tested_on: date) -> dict[str, Any]:
    """The typed columns of the row beside a `tested` entry, all of them derived from the entry.

    The session is not among them: the entry knows its number (`readings.session`), the row its key.
    Raises KeyError, TypeError or ArithmeticError where the facts are not those of `facts_of`.
    """
    readings, limit = facts["readings"], facts.get("limit", {})
    columns: dict[str, Any] = {
        name: readings.get(name, "")
        for name in ("supply", "visual", *LOOKED, *WAY, *PAPER, *ROWS_OF_SESSION, "calibration")
    }
    columns |= {name: readings.get(name) for name in (*NUMBERS, *FLAGS)}
    for name in NUMBERS:
        if columns[name] is not None and name not in WHOLE:
            columns[name] = Decimal(columns[name])
    current, proof = limit.get("limit_ma"), limit.get("proof_v")
    return columns | {
        "tested_on": tested_on,
        "purpose": facts["purpose"],
        "outcome": facts["outcome"],
        "codes": list(facts.get("codes", [])),
        "limit_ma": Decimal(current["value"]) if current else None,
        "proof_v": int(proof["value"]) if proof else None,
        "pack": facts["pack"],
        "identity": identity_of(item_no, tested_on, purpose=facts["purpose"], cells=cells_in(readings)),
    }


def cells_in(readings: Mapping[str, Any]) -> dict[str, Any]:
    """What was stated, without what was looked up when it was recorded."""
    return {name: value for name, value in readings.items() if name != "calibration"}


def identity_of(item_no: str, tested_on: date, *, purpose: str, cells: Mapping[str, Any]) -> str:
    """Hash by which a test is known again: item, day and report number; all that was stated without a report number."""
    key: list[Any] = [item_no, tested_on.isoformat()]
    key.append(cells["report_no"] if cells.get("report_no") else {"purpose": purpose, **cells})
    return hashlib.sha256(canonical(key)).hexdigest()


def identity_of_correction(entry_id: UUID) -> str:
    """The identity of the row beside a correction: its own, for the test itself is known by the row of its entry."""
    return hashlib.sha256(canonical(["correction", str(entry_id)])).hexdigest()
