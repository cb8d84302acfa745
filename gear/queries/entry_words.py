"""Words for what an entry says, kind by kind. Facts that are not known here are shown as they stand, never left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from gear import wording
from gear.models import HOLDER_NAMES
from gear.queries import described, look_words
from gear.rules import codes, units

Words = Mapping[str, "str | Promise"]
Says = list[tuple[str, str]]

TITLES: Words = {
    "received": gettext_lazy("Received"),
    "issued": gettext_lazy("Issued"),
    "moved": gettext_lazy("Moved"),
    "returned": gettext_lazy("Taken back"),
    "handed_back": gettext_lazy("Went home with its owner"),
    "tested": gettext_lazy("Tested"),
    "inspected": gettext_lazy("Looked at"),
    "event": gettext_lazy("Event"),
    "held": gettext_lazy("Put on hold"),
    "released": gettext_lazy("Hold released"),
    "rejected": gettext_lazy("Rejected"),
    "destroyed": gettext_lazy("Destroyed"),
    "lost": gettext_lazy("Reported lost"),
    "found": gettext_lazy("Found again"),
    "needs_cleaning": gettext_lazy("Needs cleaning"),
    "sent_for_test": gettext_lazy("Called in for test"),
    "sent_for_repair": gettext_lazy("Sent for repair"),
    "joined_set": gettext_lazy("Joined a set"),
    "left_set": gettext_lazy("Left its set"),
    "labelled": gettext_lazy("Given a label"),
    "noted": gettext_lazy("Note"),
}
OUTCOMES: Words = {
    "accepted": gettext_lazy("Accepted"),
    "failed": gettext_lazy("Failed"),
    "void": gettext_lazy("Void"),
    "unjudged": gettext_lazy("Not judged"),
}
PURPOSES: Words = {
    "first": gettext_lazy("first test"),
    "in_service": gettext_lazy("in service"),
    "after_repair": gettext_lazy("after repair"),
    "suspect": gettext_lazy("in doubt"),
}
LOOKS: Words = {
    "accept": gettext_lazy("accepted by eye"),
    "clean": gettext_lazy("needs cleaning"),
    "test": gettext_lazy("in doubt: test it"),
    "reject": gettext_lazy("rejected by eye"),
    "pre_use": gettext_lazy("before use"),
    "tool_room": gettext_lazy("at the tool room"),
}
QUALIFICATIONS: Words = {
    "current": gettext_lazy("on file"),
    "not_on_file": gettext_lazy("not on file"),
    "expired": gettext_lazy("run out"),
}
WAYS: Words = {
    "web": gettext_lazy("page"),
    "api": gettext_lazy("API"),
    "field": gettext_lazy("phone"),
    "import": gettext_lazy("imported file"),
    "system": gettext_lazy("system"),
}
READINGS: Words = {
    "supply": gettext_lazy("Supply"),
    "applied_v": gettext_lazy("Test voltage"),
    "seconds": gettext_lazy("Held for"),
    "leakage_ma": pgettext_lazy("test reading", "Current"),
    "resistance_mohm": gettext_lazy("Resistance"),
    "cable_temp_c": gettext_lazy("Cable at"),
    "test_a": gettext_lazy("Test current"),
    "method": gettext_lazy("Method"),
    "material": gettext_lazy("Conductor"),
    "visual": gettext_lazy("By eye"),
    "look_before": gettext_lazy("Look before"),
    "look_after": gettext_lazy("Look after, inflated"),
    "breakdown": gettext_lazy("Breakdown"),
    "flashover": gettext_lazy("Flashover"),
    "lab_result": gettext_lazy("The lab says"),
    "lab": gettext_lazy("Lab"),
    "instrument": gettext_lazy("Instrument"),
    "report_no": gettext_lazy("Report"),
    "calibration": gettext_lazy("Calibration"),
    "session": gettext_lazy("Bench session"),
    "operator": gettext_lazy("Operator"),
    "checker": gettext_lazy("Checked by"),
    "bench": gettext_lazy("Bench"),
    "water": gettext_lazy("Water"),
    "ambient_c": gettext_lazy("Room at"),
    "humidity_pct": gettext_lazy("Humidity"),
    "retest": gettext_lazy("Void tests before it"),
}
METHODS: Words = {
    "dc_meter": gettext_lazy("DC, micro-ohmmeter"),
    "dc_drop": gettext_lazy("DC, millivolt drop"),
    "ac_impedance": gettext_lazy("AC, impedance"),
    "copper": gettext_lazy("copper"),
    "aluminum": gettext_lazy("aluminum"),
}
LIMITS: Words = {
    "limit_ma": gettext_lazy("Current at most"),
    "proof_v": gettext_lazy("Proof test at"),
}
CALIBRATIONS: Words = {
    "on_file": gettext_lazy("on file"),
    "expired": gettext_lazy("run out on that day"),
    "not_on_file": gettext_lazy("not on file"),
    "not_stated": gettext_lazy("no instrument stated"),
}
UNITS = {
    "leakage_ma": "mA",
    "resistance_mohm": "mΩ",
    "cable_temp_c": "°C",
    "seconds": "s",
    "limit_ma": "mA",
    "test_a": "A",
    "ambient_c": "°C",
    "humidity_pct": "%",
}
_KV = ("applied_v", "proof_v")
_SHOWN_ELSEWHERE = {"v", "identity", "pack", "judged_as", "readings", "codes", "limit", "effects", "outcome"}


@dataclass(frozen=True)
class Limit:
    """One figure that a test was judged by, with where it comes from."""

    name: str
    value: str
    source: str
    confirm: bool


def word(words: Words, value: Any) -> str:
    """The word for a value; a value without one stands for itself."""
    return str(words.get(str(value), "" if value is None else value))


def title(kind: str) -> str:
    """What happened, in two or three words."""
    return word(TITLES, kind)


def says(kind: str, facts: Any) -> Says:
    """(name, value) of what an entry states."""
    if not isinstance(facts, Mapping):
        return [(_("Cannot be read"), str(facts))]
    try:
        told = _BY_KIND.get(kind, _nothing)(facts)
    except (KeyError, TypeError, ValueError, AttributeError):
        return [(_("Cannot be read"), str(dict(facts)))]
    return [(name, value) for name, value in [*told, *_common(facts, told)] if value]


def _common(facts: Mapping, told: Says) -> Says:
    """The facts that every kind may have, and those that no words are known for."""
    names: Words = {
        "reason": gettext_lazy("Reason"),
        "note": gettext_lazy("Note"),
        "witness": gettext_lazy("Witness"),
        "set_no": gettext_lazy("Set"),
        "batch": gettext_lazy("Batch"),
    }
    rows = [(str(name), str(facts[key])) for key, name in names.items() if facts.get(key)]
    if "holder" in facts and facts["holder"]:
        rows.insert(0, (_("To"), holder_word(facts["holder"])))
    known = {*names, "holder", *_SHOWN_ELSEWHERE, *_KNOWN}
    return rows + [(key, str(value)) for key, value in facts.items() if key not in known]


_KNOWN = {
    "date_stated",
    "first_issue",
    "first_issue_known",
    "scope",
    "words",
    "event",
    "hold",
    "evidence",
    "code",
    "replaces",
    "batch",  # ties entries of one act together; it says nothing to a reader
    "purpose",
    "place",
    "cleaned",
    "checklist",
    "told",
    "qualification",
    "length_mm",
    "row_hash",  # tells whether a file repeats itself; it says nothing to a reader
}


def holder_word(holder: Mapping) -> str:
    """`Dev, Crew 7` for a person, `Truck T-07, Crew 7` for what is no person."""
    kind, name, crew = holder["kind"], str(holder["name"]), holder.get("crew")
    kind_word = word(HOLDER_NAMES, kind)
    says_so = kind == "person" or name.casefold().startswith(kind_word.casefold())
    first = name if says_so else f"{kind_word} {name}"
    return f"{first}, {crew}" if crew and crew != name else first


def _received(facts: Mapping) -> Says:
    identity = facts["identity"]
    rows = [(_("What"), described.heading(identity))]
    rows += [row for row in described.markings(identity) if row[0] not in (_("Kind"), _("Class"), _("Hand"))]
    rows += [
        (_("Lot"), str(identity.get("lot") or "")),
        (_("Made on"), str(identity.get("made_on") or "")),
        (_("Marked expiry"), str(identity.get("marked_expiry_on") or "")),
    ]
    if not facts.get("date_stated", True):
        rows.append((_("Day"), _("not stated: the day it was entered stands in")))
    return rows


def _custody(facts: Mapping) -> Says:
    told = [(_("In the place of"), ", ".join(facts.get("replaces") or []))]
    if not facts.get("first_issue_known", True):
        told.append((_("First issue"), _("it was in use before, since when is not known")))
    return told


def _tested(facts: Mapping) -> Says:
    return [
        (_("Outcome"), word(OUTCOMES, facts["outcome"])),
        (_("Why"), ", ".join(findings(facts))),
        (_("Purpose"), word(PURPOSES, facts["purpose"])),
        *readings(facts),
        (_("Rule pack"), str(facts["pack"])),
    ]


def _inspected(facts: Mapping) -> Says:
    return [
        (_("Outcome"), word(LOOKS, facts["outcome"])),
        (_("When"), word(LOOKS, facts["scope"])),
        (_("What"), ", ".join(word(wording.DAMAGE, one) for one in facts.get("words", []))),
        (_("Where"), look_words.place_words(str(facts.get("place") or ""))),
        (_("Gone through"), "; ".join(word(look_words.CHECKS, one) for one in facts.get("checklist", []))),
        (_("Cleaned"), _("yes") if facts.get("cleaned") else ""),
        (_("Qualification"), word(QUALIFICATIONS, facts.get("qualification"))),
        (_("The screen had said"), told_word(facts.get("told"))),
    ]


def _held(facts: Mapping) -> Says:
    kept = _("yes: nobody may test, clean or destroy it until a second supervisor ends that")
    return [(_("Kept as evidence"), kept if facts.get("evidence") else "")]


def _event(facts: Mapping) -> Says:
    return [
        (_("What"), word(wording.EVENTS, facts["event"])),
        (_("New length"), described.length(facts.get("length_mm"))),
        (_("The screen had said"), told_word(facts.get("told"))),
    ]


def told_word(told: Mapping | None) -> str:
    """`stop, 12 min old`: what a screen said of the piece when this was entered."""
    if not told:
        return ""
    minutes = int(told.get("data_age_s", 0)) // 60
    return _("%(verdict)s, from data %(minutes)s min old") % {"verdict": told["verdict"], "minutes": minutes}


def _labelled(facts: Mapping) -> Says:
    replaced = facts.get("replaces")
    return [
        (_("Code"), codes.grouped(str(facts["code"]))),
        (_("Replaces"), codes.grouped(str(replaced)) if replaced else ""),
    ]


def _nothing(facts: Mapping) -> Says:
    return []


_BY_KIND = {
    "received": _received,
    "issued": _custody,
    "moved": _custody,
    "tested": _tested,
    "inspected": _inspected,
    "held": _held,
    "event": _event,
    "labelled": _labelled,
}


def readings(facts: Mapping) -> Says:
    """(name, value with unit) of what was read at the bench. Voltages are in kV and named as the test's."""
    stated = facts.get("readings")
    if not isinstance(stated, Mapping):
        return []
    known = [(name, stated[name]) for name in READINGS if name in stated]
    other = [(name, value) for name, value in stated.items() if name not in READINGS]
    return [(word(READINGS, name), _value(name, value)) for name, value in [*known, *other]]


def limits(facts: Mapping) -> list[Limit]:
    """The figures that the test was judged by, as they stood in the rule pack of its day."""
    found = facts.get("limit")
    if not isinstance(found, Mapping):
        return []
    return [
        Limit(
            word(LIMITS, name),
            _value(name, figure.get("value")),
            ", ".join(str(figure[part]) for part in ("source", "clause") if figure.get(part)),
            bool(figure.get("confirm")),
        )
        for name, figure in found.items()
        if isinstance(figure, Mapping) and "value" in figure
    ]


def findings(facts: Mapping) -> Sequence[str]:
    """What the judgement found, in words."""
    stated = facts.get("codes")
    return (
        [wording.test_code(dict(one)) for one in stated if isinstance(one, Mapping)]
        if isinstance(stated, list)
        else []
    )


def _value(name: str, value: Any) -> str:
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if name == "calibration":
        return word(CALIBRATIONS, value)
    if name in ("method", "material"):
        return word(METHODS, value)
    if name in ("visual", "look_before", "look_after"):
        return word(LOOKS, value)
    if name == "supply":
        return str(value).upper()
    if name in _KV:
        return _kilovolts(value)
    return f"{value} {UNITS[name]}" if name in UNITS else str(value)


def _kilovolts(value: Any) -> str:
    try:
        return f"{units.kv_from_volts(int(Decimal(str(value))))} kV"
    except (InvalidOperation, ValueError, OverflowError):
        return str(value)
