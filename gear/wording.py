"""Words for codes: the one place where verdicts, reasons and clocks become translatable sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from gear.damage_words import DAMAGE
from gear.rules import tables, values
from gear.rules.readiness import Answer, Reason
from gear.rules.tables import FileRefused, Problem

WHO = {
    "clerk": gettext_lazy("See the tool-room clerk."),
    "supervisor": gettext_lazy("See the supervisor."),
    "administrator": gettext_lazy("See the administrator."),
    "self": gettext_lazy("Inspect and air-test it, then record it."),
}
# code: (who to see, sentence)
SENTENCES = {
    "PACK_REFUSED": (
        "administrator",
        gettext_lazy("The rules cannot be read, so nothing can be said about any item."),
    ),
    "CHAIN_BROKEN": (
        "administrator",
        gettext_lazy("The record of {item} does not hold together. Nothing in it can be relied upon."),
    ),
    "CLOCK_BEHIND": ("administrator", gettext_lazy("The clock of the server is behind its own records.")),
    "RESTORED": (
        "administrator",
        gettext_lazy(
            "The record was put back from a backup. Nothing can be said until somebody answers for it."
        ),
    ),
    "DESTROYED": (
        "supervisor",
        gettext_lazy("SCRAPPED ITEM. It was recorded as destroyed on {on}. Hand it in now."),
    ),
    "REJECTED": ("clerk", gettext_lazy("Rejected on {on}: {why}. Hand it in.")),
    "NOT_IN_BOOK": ("clerk", gettext_lazy("Not in the book. Hand it in.")),
    "LABEL_UNREADABLE": ("clerk", gettext_lazy("This code cannot be read: {problem}")),
    "LABEL_REPLACED": ("clerk", gettext_lazy("Old label. It was replaced; this label is void.")),
    "RECORD_UNREADABLE": (
        "administrator",
        gettext_lazy("A record of this item cannot be read by this program."),
    ),
    "UNKNOWN_KIND": ("clerk", gettext_lazy("The record does not say what kind of item this is.")),
    "NO_RULE_FOR_KIND": ("administrator", gettext_lazy("The rule pack has no rule for this kind of item.")),
    "NOT_YET_RECEIVED": ("clerk", gettext_lazy("It was not in the book at that time.")),
    "EVIDENCE": (
        "supervisor",
        gettext_lazy("Kept as evidence since {on}: {why}. Do not use, clean or test it."),
    ),
    "HELD": ("supervisor", gettext_lazy("On hold since {on}: {why}. Do not use.")),
    "LOST": ("clerk", gettext_lazy("Reported lost on {on}. If this is it, hand it in.")),
    "FAILED_TEST": ("clerk", gettext_lazy("Failed its test on {on}: {why}.")),
    "DAMAGED": ("clerk", gettext_lazy("Damaged: {why} ({on}).")),
    "NEEDS_TEST": ("clerk", gettext_lazy("Needs a test before use: {event} on {on}.")),
    "OUT_FOR_REPAIR": ("clerk", gettext_lazy("Out for repair since {on}. It needs a test after repair.")),
    "OUT_FOR_TEST": ("clerk", gettext_lazy("Called in for test on {on}.")),
    "NEVER_TESTED": ("clerk", gettext_lazy("New, not tested. No accepted test is on file.")),
    "TEST_NOT_JUDGED": ("clerk", gettext_lazy("Its test of {on} could not be judged: {codes}.")),
    "JUDGED_AS_OTHER": (
        "clerk",
        gettext_lazy(
            "Its test of {on} was judged with another {field} than the record has now. It needs a test."
        ),
    ),
    "OUT_OF_DATE": (
        "clerk",
        gettext_lazy("Out of date: good through {good_through}, {days_over} days over ({clock})."),
    ),
    "SHELF_LIMIT": (
        "clerk",
        gettext_lazy("Shelf time over: tested but never issued, good through {good_through} ({clock})."),
    ),
    "SET_NOT_COMPLETE": ("clerk", gettext_lazy("Set not complete: {cause}.")),
    "NEEDS_CLEANING": ("clerk", gettext_lazy("Clean first, then have it looked at ({on}).")),
    "NOT_INSPECTED": ("self", gettext_lazy("Inspect first: no inspection is recorded for this day.")),
    "OTHER_HOLDER": ("clerk", gettext_lazy("This is held by {holder}, not by you.")),
    "NOT_INSPECTED_TODAY": (
        "self",
        gettext_lazy("No pre-use inspection is recorded for this day. Inspect it before each use."),
    ),
    "DUE_SOON": ("clerk", gettext_lazy("{days} days left.")),
}
VERDICTS = {
    "good": gettext_lazy("GOOD THROUGH {date}"),
    "stop": gettext_lazy("STOP. DO NOT USE"),
    "unknown": gettext_lazy("CAN'T SAY. DO NOT USE"),
}
# A kind without any clock is good with no date to name.
GOOD_UNDATED = gettext_lazy("GOOD")
EVENTS = {
    "suspect": gettext_lazy("its insulation is in doubt"),
    "repaired": gettext_lazy("repaired"),
    "used_without_protectors": gettext_lazy("used without protectors"),
    "flash_or_contact": gettext_lazy("flash or contact"),
    "carried_fault_current": gettext_lazy("carried fault current"),
    "dropped": gettext_lazy("dropped"),
    "found": gettext_lazy("found again after it was lost"),
}
TEST_CODES = {
    "BREAKDOWN": gettext_lazy("breakdown"),
    "CURRENT_ABOVE_LIMIT": gettext_lazy("current above the limit"),
    "CURRENT_ABOVE_EVERY_LIMIT": gettext_lazy("current above every limit of its class"),
    "RESISTANCE_ABOVE_LIMIT": gettext_lazy("resistance above the limit"),
    "VISUAL_REJECT": gettext_lazy("rejected by eye"),
    "VISUAL_TEST": gettext_lazy("put in doubt by eye"),
    "VISUAL_CLEAN": gettext_lazy("needs cleaning"),
    "FLASHOVER": gettext_lazy("flashover at the cuff: repeat the test"),
    "INSTRUMENT_EXPIRED": gettext_lazy("the calibration of the instrument or lab had run out"),
    "DC_NOT_ALLOWED": gettext_lazy("DC does not count for this kind"),
    "KEPT_AS_EVIDENCE": gettext_lazy("the piece was kept as evidence, so this clears nothing"),
    "VOLTAGE_TOO_LOW": gettext_lazy("the voltage was below the proof voltage"),
    "TOO_SHORT": gettext_lazy("the voltage was not held long enough"),
    "ZERO_CURRENT": gettext_lazy("no charging current: lead off or tank empty?"),
    "LOW_FOR_SESSION": gettext_lazy("far less current than the others of its session: lead off or tank low?"),
    "LOW_FOR_ITEM": gettext_lazy("far less current than at its last accepted test: lead off or tank low?"),
    "ZERO_RESISTANCE": gettext_lazy("no resistance: were the leads on the jumper?"),
    "READING_MISSING": gettext_lazy("a reading is missing"),
    "READING_ABSURD": gettext_lazy("a reading cannot be right"),
    "CLASS_NOT_STATED": gettext_lazy("the class of the item is not stated"),
    "LENGTH_NOT_STATED": gettext_lazy("the length of the item is not stated"),
    "CABLE_NOT_STATED": gettext_lazy("the cable size is not stated"),
    "NO_PROOF_FIGURE": gettext_lazy("the rule pack has no proof voltage for it"),
    "NO_CURRENT_LIMIT": gettext_lazy("the rule pack has no current limit for it"),
    "NO_RESISTANCE_LIMIT": gettext_lazy("the rule pack has no resistance limit for it"),
    "MATERIAL_WITHOUT_LIMIT": gettext_lazy("the rule pack has a resistance limit for copper alone"),
    "IMPEDANCE_ABOVE_LIMIT": gettext_lazy("an AC impedance above the DC limit says nothing: measure with DC"),
    "NO_DURATION_FIGURE": gettext_lazy("the rule pack has no duration for this purpose"),
    "NO_ELECTRICAL_FIGURES": gettext_lazy("the rule pack has no electrical figures for this kind"),
}
PROBLEMS = {
    "unreadable": gettext_lazy(
        "it is not the code of a label. Type the 11 symbols printed under the square."
    ),
    "mistyped": gettext_lazy("at least one symbol is wrong. Compare it with the label and type it again."),
}
CAUSES = {
    "hand": gettext_lazy("the record does not say whether this is a left or a right"),
    "missing": gettext_lazy("its {hand} mate is missing"),
    "too_many": gettext_lazy("{count} pieces carry this set number"),
    "differs": gettext_lazy("its mate {mate} has another {field}"),
    "mate": gettext_lazy("{mate} is not good ({mate_reason})"),
    "unstated": gettext_lazy("the record does not say how many pieces belong to it"),
    "count": gettext_lazy("{count} of {required} pieces"),
}
FIELDS = {
    "kind": gettext_lazy("kind"),
    "class": gettext_lazy("class"),
    "size": gettext_lazy("size"),
    "length_mm": gettext_lazy("length"),
    "type": gettext_lazy("type"),
    "cable_size": gettext_lazy("cable size"),
    "cable_length_m": gettext_lazy("cable length"),
}
HANDS = {"L": pgettext_lazy("hand", "left"), "R": pgettext_lazy("hand", "right")}
USE_NOTE = gettext_lazy(
    "Nominal phase-to-phase voltage. Phase-to-ground counts only where there is no multiphase exposure."
)
COVER_NOTE = gettext_lazy(
    "Nominal voltage between two covered phases, for brushing contact only. Between a covered phase and anything "
    "else it is less."
)
CAUTIONS = (
    gettext_lazy("In date and rated for what was entered: no more than that."),
    gettext_lazy("Inspect it, and air-test gloves, before each day's use and after any incident."),
    gettext_lazy("Follow your employer's rules and local code. The qualified person decides."),
)


def day(value: date) -> str:
    """2 OCT 2026: unmistakable in every country."""
    return date_format(value, "j b Y").upper()


def verdict(answer: Answer) -> str:
    """The words across the screen."""
    if answer.verdict == "good" and answer.good_through is None:
        return str(GOOD_UNDATED)
    return VERDICTS[answer.verdict].format(date=day(answer.good_through) if answer.good_through else "")


def use_note(kind: str | None) -> str:
    """What the maximum use voltage of a kind is measured between."""
    return str(COVER_NOTE if kind == "rigid_cover" else USE_NOTE)


def without_free_text(reason: Reason) -> Reason:
    """The reason for a visitor nobody knows: what somebody typed may name people, so it is left out."""
    said = [one.strip() for one in str(reason.values.get("why", "")).split(",")]
    listed = EVENTS.keys() | ({*DAMAGE, "damaged"} if reason.code == "DAMAGED" else set())
    if reason.code not in ("EVIDENCE", "HELD", "REJECTED", "DAMAGED", "LOST") or all(
        one in listed for one in said if one
    ):
        return reason
    return replace(reason, values={**reason.values, "why": _("sign in to read why")})


def sentence(reason: Reason) -> str:
    """One plain sentence for a reason. A code without words falls back to the code itself, never to nothing."""
    if reason.code not in SENTENCES:
        return reason.code
    words = {name: _word(name, value, reason) for name, value in reason.values.items()}
    if reason.code == "NOT_YET_RECEIVED" and {"on", "owner"} <= words.keys():
        return _("It went home with its owner, {owner}, on {on}. Check it in again before use here.").format(
            **words
        )
    if reason.code == "DAMAGED" and reason.values.get("why") == "damaged" and "on" in words:
        return _("Found damaged on {on}.").format(**words)  # what was found was not stated
    try:
        return SENTENCES[reason.code][1].format(**words)
    except (KeyError, IndexError, ValueError):
        return f"{reason.code}: " + ", ".join(f"{name} {value}" for name, value in words.items())


def who_to_see(reason: Reason) -> str:
    """Whom the worker should turn to."""
    return str(WHO[SENTENCES[reason.code][0]]) if reason.code in SENTENCES else str(WHO["administrator"])


def clock(name: str | None) -> str:
    """`last_test+6` in words."""
    if not name:
        return ""
    if name == "marked_expiry":
        return _("expiry date marked on the item")
    base, _plus, count = name.partition("+")
    length = _("%s days") % count[:-1] if count.endswith("d") else _("%s months") % count
    return {"last_test": _("%s from the last test"), "first_issue": _("%s from first issue")}[base] % length


def _word(name: str, value, reason: Reason) -> str:
    if isinstance(value, date):
        return day(value)
    if name == "event":
        return str(EVENTS.get(value, value))
    if name == "why":
        return _why(str(value))
    if name == "clock":
        return clock(value)
    if name == "problem":
        return str(PROBLEMS.get(value, value))
    if name == "codes":
        return ", ".join(test_code(one) for one in value)
    if name == "field":
        return str(FIELDS.get(value, value))
    if name == "cause":
        return _cause(reason)
    return str(value)


def _why(given: str) -> str:
    """Words of a list, codes of a test or what somebody typed, joined by commas as they were stored."""
    said = [one.strip() for one in given.split(",")]
    words = [str(TEST_CODES.get(one) or EVENTS.get(one) or DAMAGE.get(one) or one) for one in said if one]
    return ", ".join(words) or _("no word was given")


def test_code(code: dict) -> str:
    """Words for one code of a judged test, as {"code": ..., other values}."""
    words = TEST_CODES.get(str(code.get("code")))
    return str(words) if words else str(code.get("code"))


def _cause(reason: Reason) -> str:
    values = dict(reason.values)
    values["hand"] = HANDS.get(str(values.get("hand")), "")
    values["field"] = FIELDS.get(str(values.get("field")), "")
    values["mate_reason"] = SHORT.get(str(values.get("mate_code")), values.get("mate_code", ""))
    return CAUSES[values["cause"]].format(**values)


# Two or three words for a table cell or for the mate's trouble.
SHORT = {
    "PACK_REFUSED": gettext_lazy("no rules"),
    "CHAIN_BROKEN": gettext_lazy("record broken"),
    "CLOCK_BEHIND": gettext_lazy("server clock"),
    "RESTORED": gettext_lazy("record put back"),
    "DESTROYED": gettext_lazy("destroyed"),
    "REJECTED": gettext_lazy("rejected"),
    "NOT_IN_BOOK": gettext_lazy("not in the book"),
    "LABEL_UNREADABLE": gettext_lazy("code unreadable"),
    "LABEL_REPLACED": gettext_lazy("old label"),
    "RECORD_UNREADABLE": gettext_lazy("record unreadable"),
    "UNKNOWN_KIND": gettext_lazy("kind unknown"),
    "NO_RULE_FOR_KIND": gettext_lazy("no rule"),
    "NOT_YET_RECEIVED": gettext_lazy("not received"),
    "EVIDENCE": gettext_lazy("evidence"),
    "HELD": gettext_lazy("on hold"),
    "LOST": gettext_lazy("lost"),
    "FAILED_TEST": gettext_lazy("failed test"),
    "DAMAGED": gettext_lazy("damaged"),
    "NEEDS_TEST": gettext_lazy("needs test"),
    "OUT_FOR_REPAIR": gettext_lazy("out for repair"),
    "OUT_FOR_TEST": gettext_lazy("out for test"),
    "NEVER_TESTED": gettext_lazy("not tested"),
    "TEST_NOT_JUDGED": gettext_lazy("test not judged"),
    "JUDGED_AS_OTHER": gettext_lazy("test of other data"),
    "OUT_OF_DATE": gettext_lazy("out of date"),
    "SHELF_LIMIT": gettext_lazy("shelf time over"),
    "SET_NOT_COMPLETE": gettext_lazy("set not complete"),
    "NEEDS_CLEANING": gettext_lazy("clean first"),
    "NOT_INSPECTED": gettext_lazy("inspect first"),
    "OTHER_HOLDER": gettext_lazy("another's"),
    "NOT_INSPECTED_TODAY": gettext_lazy("not inspected"),
    "DUE_SOON": gettext_lazy("due soon"),
}


def short(reason: Reason) -> str:
    """Two or three words for a reason."""
    return str(SHORT.get(reason.code, reason.code))


# What the book has against a line of a file, beside what is wrong with the line itself (gear.rules.values.MESSAGES).
LINE_SENTENCES = {
    "DIFFERS": gettext_lazy(
        "{field} {shown} is in the book and was registered with other content. A file adds and never changes: "
        "correct the item's record instead."
    ),
    "LOOKS_LIKE_IN_BOOK": gettext_lazy(
        "{field} {shown} is easily taken for {other}, which is in the book. Give it a number of its own."
    ),
    "SERIAL_IN_BOOK": gettext_lazy("{field} {shown} of this maker and hand belongs to {other} already."),
    "SERIAL_DESTROYED": gettext_lazy(
        "{field} {shown} of this maker and hand belongs to {other}, which was destroyed. Tell the supervisor."
    ),
    "MIXED_SET_IN_BOOK": gettext_lazy("{field} {shown} is a set of another kind in the book ({other})."),
    "OUTSIDE_DEPOT": gettext_lazy("{field} {shown} is outside your depot ({other})."),
    "HOLDER_ELSEWHERE": gettext_lazy(
        "{field} {shown}: this holder stands with {other} in the book or on another line."
    ),
}


def line_problem(problem: Problem, more: Mapping[str, Any] | None = None) -> str:
    """One sentence for what is wrong with a line of a file, or worth a note. `more` are sentences of another app."""
    own = {**LINE_SENTENCES, **(more or {})}
    sentence = str(own[problem.code]) if problem.code in own else _(values.MESSAGES[problem.code])
    return visible(sentence.format(**problem.values))


def file_refused(error: FileRefused) -> str:
    """Why a whole file is refused, in one or two sentences."""
    return visible(_(tables.REFUSALS[error.code]).format(**error.values))


def visible(text: str) -> str:
    """The text without symbols that could steer a terminal; what is not printable becomes a mark."""
    return "".join(symbol if symbol.isprintable() else "\N{REPLACEMENT CHARACTER}" for symbol in text)
