"""A bench session in words: what was scanned, what a row says, what the readings say together, why rows stay out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from gear import wording
from gear.queries import described
from gear.rules import units
from inspections import wording as words
from inspections.models import PURPOSE_NAMES, BenchRow
from inspections.queries.bench import GroundSet, RowNow
from inspections.rules.bench import GROUND
from inspections.rules.bench_scan import Notice
from inspections.rules.bench_watch import Drift, EqualRun
from inspections.rules.testfacts import plain, recorded
from inspections.views.logging import SHAPES

OUTCOMES = {
    "accepted": gettext_lazy("Accepted"),
    "failed": gettext_lazy("Rejected"),
    "void": gettext_lazy("Void: repeat"),
    "unjudged": gettext_lazy("Can't say"),
}
VERDICTS = {
    "accepted": gettext_lazy("ACCEPTED"),
    "failed": gettext_lazy("REJECTED"),
    "void": gettext_lazy("VOID. REPEAT"),
    "unjudged": gettext_lazy("CAN'T SAY"),
}
NOTICES = {
    "DESTROYED": gettext_lazy("DESTROYED on {on}. Hand it in and tell the supervisor; it is not tested."),
    "REJECTED": gettext_lazy("Rejected on {on}. No test clears that: put it to the rejects."),
    "LOST": gettext_lazy("Reported lost on {on}. Report it found; until then no test makes it good."),
    "DIRTY": gettext_lazy("Marked for cleaning on {on}. Is it clean and dry?"),
    "ON_HOLD": gettext_lazy("On hold: {reason}. A test does not release it."),
    "AT_LAB": gettext_lazy("The book says it is at the lab, {holder}. Is it this one?"),
    "NOT_THE_MATE": gettext_lazy("Not the mate of {before}: that is {mate}."),
    "OTHER_PURPOSE": gettext_lazy("By the book this test would be: {likely}. This session is: {purpose}."),
}
LEFT_OUT = {
    "EQUAL_READINGS": gettext_lazy("Equal readings in a row, confirmed by nobody yet."),
    "BETTER_THAN_BEFORE": gettext_lazy("It had failed before it was typed again; confirmed by nobody yet."),
    "LOOK_MISSING": gettext_lazy("A look is missing. Scan it once more and state the look."),
    "RECORD_UNREADABLE": gettext_lazy("Its record cannot be read. Have the administrator run verify_ledger."),
    "POSTER_NOT_QUALIFIED": gettext_lazy(
        "Your qualification on file had run out on that day. Somebody who is qualified posts acceptances."
    ),
    "OPERATOR_NOT_QUALIFIED": gettext_lazy(
        "The qualification of whoever looked at it had run out on that day. Somebody qualified looks again and "
        "corrects the row."
    ),
}
DRIFTS = {
    True: gettext_lazy(
        "Readings climb: {group}, from {first} to {last} {unit} over the last {count}. Water level, temperature, "
        "meter? Look now, before the next ones."
    ),
    False: gettext_lazy(
        "Readings fall: {group}, from {first} to {last} {unit} over the last {count}. Water level, temperature, lead, "
        "meter? Look now, before the next ones."
    ),
}


@dataclass(frozen=True)
class RowLine:
    """A row as a list shows it. `tone` is the outcome, or `doubt` where somebody must look."""

    row: BenchRow
    item_no: str
    reading: str
    outcome: str
    words: str
    shape: str
    findings: list[str]
    doubts: list[str]
    tone: str
    lacks_look: bool
    arithmetic: list[tuple[str, str, str]]
    posted: bool


def line(one: RowNow) -> RowLine:
    """One row in words."""
    row = one.row
    missing_look = one.lacks_look
    is_waiting = (
        missing_look and one.outcome == "void" and [f.code for f in one.findings] == ["READING_MISSING"]
    )
    return RowLine(
        row,
        row.item.item_no,
        reading(row),
        one.outcome,
        str(_("Look after it to come") if is_waiting else OUTCOMES[one.outcome]),
        SHAPES[one.outcome],
        [] if is_waiting else [words.finding(found) for found in one.findings],
        [str(LEFT_OUT[code]) for code in one.doubts],
        "doubt" if one.doubts else "waiting" if is_waiting else one.outcome,
        missing_look,
        arithmetic(row),
        row.test_id is not None,
    )


def reading(row: BenchRow) -> str:
    """`12.5 mA`, `1.25 mΩ at 35 °C`, with what happened instead of a reading."""
    parts = []
    if row.leakage_ma is not None:
        parts.append(f"{plain(row.leakage_ma)} mA")
    if row.resistance_mohm is not None:
        at = f" {_('at')} {plain(row.cable_temp_c)} °C" if row.cable_temp_c is not None else ""
        parts.append(f"{plain(row.resistance_mohm)} mΩ{at}")
    if row.breakdown:
        parts.append(_("breakdown"))
    if row.flashover:
        parts.append(_("flashover"))
    return ", ".join(parts)


def arithmetic(row: BenchRow) -> list[tuple[str, str, str]]:
    """(what, reading, limit) of a jumper in milliohm, both ways; empty where nothing was worked out."""
    details = recorded(row.judged).details if row.judged else {}
    if not details or row.cable_temp_c is None:
        return []
    degrees = plain(row.cable_temp_c)
    return [
        (_("at 20 °C"), str(details["corrected_mohm"]), str(details["limit_20_mohm"])),
        (
            _("as read, at %s °C") % degrees,
            str(details["reading_mohm"]),
            str(details["limit_at_temperature_mohm"]),
        ),
    ]


def notice(found: Notice) -> str:
    """One sentence about what was scanned."""
    values = dict(found.values)
    if "on" in values:
        values["on"] = wording.day(values["on"])
    for name in ("likely", "purpose"):
        if name in values:
            values[name] = str(PURPOSE_NAMES[values[name]]).lower()
    return str(NOTICES[found.code]).format(**values)


def group_words(group: tuple[str, ...]) -> str:
    """`class 2, 360 mm (14.2 in)` or `2/0, 3.048 m`."""
    if group[0] == GROUND:
        return ", ".join(part for part in (group[1], described.cable_length(group[2])) if part)
    cls = described.class_word(group[1]).lower()
    length = described.length(int(group[2])) if group[2] else ""
    return ", ".join(part for part in (cls, length) if part)


def drift(found: Drift) -> str:
    """One sentence about readings that drift."""
    return str(DRIFTS[found.rises]).format(
        group=group_words(found.group),
        first=plain(found.first.value),
        last=plain(found.last.value),
        unit="mA" if found.group[0] == "glove" else "mΩ",
        count=found.count,
    )


def run(found: EqualRun) -> str:
    """One sentence about equal readings."""
    count = len(found.positions)
    values = {
        "count": count,
        "value": plain(found.value),
        "first": found.positions[0],
        "last": found.positions[-1],
    }
    told = ngettext(
        "%(count)s equal reading in a row: %(value)s in row %(first)s.",
        "%(count)s equal readings in a row: %(value)s in rows %(first)s to %(last)s. Copied, or is the meter stuck?",
        count,
    )
    return told % values


def ground_sets(found: Sequence[GroundSet]) -> list[tuple[str, str, str, str]]:
    """(set number, shape, words, how many were tested) of the grounding sets at hand."""
    rows = []
    for one in found:
        tested = "" if one.is_complete else _("%(tested)s of %(pieces)s tested") % vars(one)
        rows.append((one.set_no, SHAPES[one.outcome], str(OUTCOMES[one.outcome]), tested))
    return rows


def figures(sheet: Any, identity: Mapping[str, Any], *, purpose: str, supply: str) -> list[tuple[str, str]]:
    """(name, value) of what the clerk would look up: what to apply, for how long, and what may be read."""
    rows = []
    if sheet.limit_ma is not None and supply == "ac":
        rows.append((_("At most"), _("%s mA") % sheet.limit_ma.value))
    if sheet.limit_20_mohm is not None:
        rows.append((_("At most, at 20 °C"), _("%s mΩ") % sheet.limit_20_mohm))
    if proof := sheet.proof.get(supply):
        rows.append((_("Apply"), _("%s kV") % units.kv_from_volts(int(proof.value))))
    if seconds := sheet.seconds.get(purpose):
        rows.append((_("For"), _("%s s") % seconds.value))
    if water := sheet.water.get(supply):
        rows.append((_("Cuff to water"), described.length(water.value)))
    length = described.length(identity.get("length_mm")) or described.cable_length(
        identity.get("cable_length_m")
    )
    if length:
        rows.append((_("Length"), length))
    if identity.get("hand"):
        rows.append((_("Hand"), described.hand_word(identity["hand"])))
    return rows
