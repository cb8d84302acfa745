"""The rows of a test certificate: what the item is, what was read, and the figures that it was held against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.queries import described
from gear.rules import units
from gear.rules.packs import Figure
from inspections.models.words import LOOK_NAMES, MATERIAL_NAMES, METHOD_NAMES, PURPOSE_NAMES, SUPPLY_NAMES
from inspections.rules import calibration, testfacts
from inspections.rules.calibration import History
from reports.rules.certificate import Certificate

CALIBRATIONS = {
    "on_file": gettext_lazy("on file for the day of the test, as the register stood when it was recorded"),
    "expired": gettext_lazy("had run out on the day of the test"),
    "not_on_file": gettext_lazy("not on file"),
    "not_stated": gettext_lazy("not on file: no instrument or lab was stated"),
}


# What is told in a row of its own; `visual` sums up the looks, what a lab says is told beside the findings.
KNOWN = frozenset(
    (
        *("supply", *testfacts.NUMBERS, "visual", *testfacts.FLAGS, *testfacts.LOOKED, *testfacts.WAY),
        *(*testfacts.PAPER, *testfacts.SESSION, "calibration"),
    )
)


@dataclass(frozen=True)
class Row:
    """One thing that is stated. `source` names where a figure comes from; `confirm` asks to look it up."""

    name: str
    value: str
    source: str = ""
    confirm: bool = False


def stated_of(one: Certificate) -> dict[str, Any]:
    """What the item is said to be. What the test was judged by wins over the receipt."""
    return {**one.identity, **one.test.get("judged_as", {})}


def identity(one: Certificate) -> list[Row]:
    """What the item is; number, serial and kind are always told."""
    stated, not_stated = stated_of(one), _("not stated")
    rows = [
        Row(_("Item number"), one.item_no),
        Row(_("Serial"), str(stated.get("serial") or not_stated)),
        Row(_("Kind"), described.kind_word(one.kind)),
    ]
    optional = (
        (_("Class"), stated.get("class")),
        (_("Type"), stated.get("type")),
        (_("Hand"), described.hand_word(stated.get("hand"))),
        (_("Size"), stated.get("size")),
        (_("Length"), described.length(stated.get("length_mm"))),
        (_("Cable size"), stated.get("cable_size")),
        (_("Cable length"), described.cable_length(stated.get("cable_length_m"))),
        (_("Clamp grade"), stated.get("clamp_grade")),
        (_("Ferrule grade"), stated.get("ferrule_grade")),
        (_("Colour"), stated.get("colour")),
        (_("Maker"), stated.get("maker")),
        (_("Model"), stated.get("model")),
        (_("Lot"), stated.get("lot")),
        (_("Made on"), stated.get("made_on")),
    )
    return rows + [Row(name, str(value)) for name, value in optional if value]


def max_use(one: Certificate) -> list[Row]:
    """What may be worked on with it, in volts."""
    names = {"max_use_v": _("MAX USE"), "use_to_ground_v": _("MAX USE to ground")}
    return [
        _figure_row(name, described.volts(one.figures[key]), one.figures[key])
        for key, name in names.items()
        if key in one.figures
    ]


def _figure_row(name: str, value: str, figure: Figure) -> Row:
    source = ", ".join(part for part in (figure.source, figure.clause) if part)
    return Row(name, value, source, figure.confirm)


def tested(one: Certificate) -> list[Row]:
    """What was applied and read, each reading with the limit that it was held against."""
    readings, judged = one.test.get("readings", {}), testfacts.recorded(one.test)
    rows = [
        (_("Tested on"), wording.day(date.fromisoformat(one.tested_on))),
        (_("Purpose"), str(PURPOSE_NAMES.get(one.test["purpose"], one.test["purpose"]))),
        (_("Supply"), str(SUPPLY_NAMES.get(readings.get("supply", ""), ""))),
        (_("Proof voltage applied"), proof_words(readings.get("applied_v"))),
        (_("Held for"), _seconds(one)),
        (_("Current read"), with_unit(readings.get("leakage_ma"), _("mA"))),
        (_("Current at most"), _limit_ma(one, judged.limit)),
        (_("Resistance read"), with_unit(readings.get("resistance_mohm"), _("milliohm"))),
        (_("Cable temperature"), with_unit(readings.get("cable_temp_c"), _("°C"))),
        (_("Method"), str(METHOD_NAMES.get(readings.get("method", ""), ""))),
        (_("Conductor"), str(MATERIAL_NAMES.get(readings.get("material", ""), ""))),
        (_("Test current"), with_unit(readings.get("test_a"), _("A"))),
        *_looks(readings),
        (_("Breakdown"), flag(readings.get("breakdown"))),
        (_("Flashover"), flag(readings.get("flashover"))),
    ]
    return [Row(name, value) for name, value in rows if value]


def _looks(readings: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Both looks where both are stated, else the one that stands for both."""
    names = {"look_before": _("Look before"), "look_after": _("Look after, inflated")}
    both = [
        (name, str(LOOK_NAMES.get(readings[key], readings[key])))
        for key, name in names.items()
        if readings.get(key)
    ]
    return both or [(_("Look"), str(LOOK_NAMES.get(readings.get("visual", ""), _("not stated"))))]


def papers(one: Certificate, names: Mapping[str, str]) -> list[Row]:
    """Where, with what and by whom it was tested, as the test states it; what has no word here keeps its name."""
    readings = one.test.get("readings", {})
    rows = [
        (_("Bench session"), readings.get("session")),
        (_("Operator"), person(readings.get("operator"), names)),
        (_("Checked by"), person(readings.get("checker"), names)),
        (_("Lab"), readings.get("lab")),
        (_("Bench"), readings.get("bench")),
        (_("Instrument"), readings.get("instrument")),
        (_("Calibration"), CALIBRATIONS.get(readings.get("calibration", "not_stated"))),
        (_("Report number"), readings.get("report_no")),
        (_("Water"), readings.get("water")),
        (_("Room"), _room(readings)),
        (_("Void tests before it"), readings.get("retest")),
    ]
    rows += [(name, value) for name, value in readings.items() if name not in KNOWN]
    return [Row(name, str(value)) for name, value in rows if value not in (None, "")]


def registered(one: Certificate, on_file: Mapping[str, History]) -> list[str]:
    """What the register says now of the instrument and the lab named, for the day of the test: no part of the
    certified facts, for a calibration may be entered or withdrawn later."""
    readings, day = one.test.get("readings", {}), date.fromisoformat(one.tested_on)
    told = []
    for name in (readings.get(key) for key in ("instrument", "lab")):
        if name:
            history = on_file.get(name.casefold(), History())
            told.append(f"{name}: {_calibration(history, day)}")
    return told


def doubts(one: Certificate, on_file: Mapping[str, History]) -> list[str]:
    """A sentence for every instrument and lab named that was found out of tolerance at its next calibration."""
    readings, day = one.test.get("readings", {}), date.fromisoformat(one.tested_on)
    told = []
    for name in (readings.get(key) for key in ("instrument", "lab")):
        history = on_file.get(name.casefold(), History()) if name else History()
        later = next((made for made in history.calibrations if made.on > day), None)
        if later is not None and not later.in_tolerance:
            words = _("%(name)s was found out of tolerance at its next calibration, on %(day)s.")
            told.append(words % {"name": name, "day": wording.day(later.on)})
    return told


def _calibration(history: History, day: date) -> str:
    made = calibration.in_force(history, day)
    through = made.good_through if made else history.brought_in
    if calibration.standing(history, day) == "not_on_file":
        return _("calibration not on file")
    if through is None:
        return _("not given back for use at its last calibration")
    words = _("calibration on file through %s") if day <= through else _("calibration had run out on %s")
    return words % wording.day(through)


def person(username: str | None, names: Mapping[str, str]) -> str:
    """`Orla Penrose (orla)`: the name may change, the username does not."""
    name = names.get(username or "", username)
    return f"{name} ({username})" if name and name != username else username or ""


def _room(readings: Mapping[str, Any]) -> str:
    parts = (
        with_unit(readings.get("ambient_c"), _("°C")),
        with_unit(readings.get("humidity_pct"), _("% humidity")),
    )
    return ", ".join(part for part in parts if part)


def proof_words(volts: Any) -> str:
    """`20 kV, a proof voltage, not a working voltage`; nothing for what was not stated."""
    if volts is None:
        return ""
    return _("%s kV, a proof voltage, not a working voltage") % kilovolts(volts)


def kilovolts(volts: Any) -> str:
    """20 for 20000; what is no number is given as it stands."""
    try:
        return str(units.kv_from_volts(int(volts)))
    except (TypeError, ValueError):
        return str(volts)


def with_unit(value: Any, unit: str) -> str:
    """`14.2 mA`; nothing for what was not stated."""
    return "" if value is None else f"{value} {unit}"


def flag(value: Any) -> str:
    """yes, no, or nothing for what was not stated."""
    return "" if value is None else _("yes") if value else _("no")


def _seconds(one: Certificate) -> str:
    held = one.test.get("readings", {}).get("seconds")
    if held is None:
        return ""
    asked = one.figures.get("seconds")
    return (
        _("%s s") % held
        if asked is None
        else _("%(held)s s (%(asked)s s at least)") % {"held": held, "asked": asked.value}
    )


def _limit_ma(one: Certificate, limit: Figure | None) -> str:
    """The limit with the class and the length that it is for; under DC there is none."""
    if one.kind != "glove":
        return ""
    if one.test.get("readings", {}).get("supply") == "dc":
        return _("no limit under DC")
    if limit is None:
        return _("cannot be said: its length or class is not stated, or not in the table")
    stated = stated_of(one)
    told = {
        "ma": limit.value,
        "cls": stated.get("class"),
        "length": described.length(stated.get("length_mm")),
    }
    return _("%(ma)s mA for class %(cls)s, length %(length)s") % told


def arithmetic(one: Certificate) -> list[Row]:
    """How the reading of a jumper was held against its limits, twice, with the figures of the pack."""
    details, stated, figures = testfacts.recorded(one.test).details, stated_of(one), one.figures
    reading, temperature = (
        one.test.get("readings", {}).get(name) for name in ("resistance_mohm", "cable_temp_c")
    )
    if not details or temperature is None or "r20_mohm_per_ft" not in figures:
        return []
    number = {name: _number(figure.value) for name, figure in figures.items()}
    feet = units.feet_from_mm(units.mm_from_metres(Decimal(str(stated["cable_length_m"]))))
    warm = f"(1 + {number['alpha_per_c']} × ({temperature} − {number['reference_c']}))"
    cable = f"{number['cable_factor']} × {number['r20_mohm_per_ft']} × {feet} ft"
    of = f"{stated['cable_size']}, {described.cable_length(stated['cable_length_m'])}"
    at_20 = places(details["corrected_mohm"], details["limit_20_mohm"])
    as_read = places(details["reading_mohm"], details["limit_at_temperature_mohm"])
    return [
        Row(_("Reading corrected to 20 °C"), _("%s milliohm") % at_20[0], f"{reading} / {warm}"),
        Row(
            _("Limit at 20 °C for %s") % of,
            _("%s milliohm") % at_20[1],
            f"{cable} + {number['fittings_mohm']}",
        ),
        Row(_("Reading as read, cable at %s °C") % temperature, _("%s milliohm") % as_read[0]),
        Row(
            _("Limit at %(degrees)s °C for %(of)s") % {"degrees": temperature, "of": of},
            _("%s milliohm") % as_read[1],
            f"{cable} × {warm} + {number['fittings_mohm']}",
        ),
    ]


def places(reading: Decimal, limit: Decimal) -> tuple[str, str]:
    """Both with three places, or with all that were recorded where three would hide which is the larger."""
    three = Decimal("0.001")
    shown = (reading.quantize(three), limit.quantize(three))
    return (
        (str(reading), str(limit))
        if shown[0] == shown[1] and reading != limit
        else (str(shown[0]), str(shown[1]))
    )


def _number(value: Any) -> str:
    return testfacts.plain(value) if isinstance(value, Decimal) else str(value)


FIGURE_NAMES = {
    "seconds": (gettext_lazy("Time at proof voltage, at least"), gettext_lazy("s")),
    "r20_mohm_per_ft": (gettext_lazy("Cable at 20 °C"), gettext_lazy("milliohm per foot")),
    "cable_factor": (gettext_lazy("Margin on the cable"), ""),
    "fittings_mohm": (gettext_lazy("Clamps and ferrules"), gettext_lazy("milliohm")),
    "alpha_per_c": (gettext_lazy("Copper, for each °C"), ""),
}


def figures(one: Certificate) -> list[Row]:
    """The figures that it was judged by, with their sources."""
    judged, rows = testfacts.recorded(one.test), []
    if judged.proof is not None:
        rows.append(_figure_row(_("Proof test asked for"), proof_words(judged.proof.value), judged.proof))
    if judged.limit is not None and one.kind == "glove":
        rows.append(_figure_row(_("Current at most"), _limit_ma(one, judged.limit), judged.limit))
    for name, (words, unit) in FIGURE_NAMES.items():
        if figure := one.figures.get(name):
            rows.append(_figure_row(str(words), f"{_number(figure.value)} {unit}".strip(), figure))
    return rows


def cells(one: Certificate) -> dict[str, str]:
    """The columns of one line of a batch; what was not stated is empty."""
    readings, stated = one.test.get("readings", {}), stated_of(one)
    judged = testfacts.recorded(one.test)
    found = {
        "serial": str(stated.get("serial") or _("serial not stated")),
        "max_use": described.volts(one.figures.get("max_use_v")),
        "look": str(LOOK_NAMES.get(readings.get("visual", ""), _("not stated"))),
        "paper": ", ".join(
            str(readings[name])
            for name in ("session", "lab", "bench", "instrument", "report_no")
            if readings.get(name)
        ),
        "by": str(readings.get("operator") or one.facts["recorded_by"]),
    }
    if judged.details:
        reading, limit = places(judged.details["corrected_mohm"], judged.details["limit_20_mohm"])
        warm = _("cable %s °C") % readings.get("cable_temp_c")
        values = (_("%s milliohm at 20 °C") % reading, _("%s milliohm at 20 °C") % limit)
        return found | {"held": warm, "reading": values[0], "limit": values[1]}
    volts = readings.get("applied_v")
    return found | {
        "proof": "" if volts is None else with_unit(kilovolts(volts), _("kV")),
        "held": with_unit(readings.get("seconds"), _("s")),
        "reading": with_unit(readings.get("leakage_ma"), _("mA"))
        or (_("breakdown: %s") % flag(readings["breakdown"]) if "breakdown" in readings else ""),
        "limit": _short_limit(one),
    }


def _short_limit(one: Certificate) -> str:
    """`16 mA at 360 mm (14.2 in)`: a limit without its length says nothing."""
    limit = testfacts.recorded(one.test).limit
    if limit is None or one.kind != "glove" or one.test.get("readings", {}).get("supply") == "dc":
        return ""
    told = {"ma": limit.value, "length": described.length(stated_of(one).get("length_mm"))}
    return _("%(ma)s mA at %(length)s") % told
