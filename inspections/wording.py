"""Words for what a judgement found, and for what the book has against a line of a test book."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.models import KIND_NAMES
from gear.rules import units
from gear.rules.tables import Problem
from inspections.rules.acceptance import Finding

# finding: the sentence for the clerk, who can do something about it. {field} and {kind} come as words, volts in kV.
FINDING_SENTENCES = {
    "BREAKDOWN": gettext_lazy("Breakdown: the voltage went through it. The item is rejected."),
    "CURRENT_ABOVE_LIMIT": gettext_lazy("{leakage_ma} mA is above the limit of {limit_ma} mA."),
    "CURRENT_ABOVE_EVERY_LIMIT": gettext_lazy(
        "{leakage_ma} mA is above every limit of its class, the highest of which is {limit_ma} mA."
    ),
    "RESISTANCE_ABOVE_LIMIT": gettext_lazy(
        "The resistance is above the limit: {corrected_mohm} milliohm at 20 °C against {limit_20_mohm}, and "
        "{reading_mohm} as read against {limit_at_temperature_mohm} at the temperature of the cable. Both must be "
        "within."
    ),
    "VISUAL_REJECT": gettext_lazy("Rejected by eye. The item is rejected."),
    "VISUAL_TEST": gettext_lazy("In doubt by eye. Its earlier test no longer counts either: test it again."),
    "VISUAL_CLEAN": gettext_lazy("It needs cleaning by eye. Clean it, look at it, and test it again."),
    "FLASHOVER": gettext_lazy(
        "Flashover at the cuff is a fault of the set-up. Set up again and repeat the test."
    ),
    "INSTRUMENT_EXPIRED": gettext_lazy(
        "The calibration of the instrument or lab had run out on that day. Repeat the test with another."
    ),
    "DC_NOT_ALLOWED": gettext_lazy("DC does not count for this kind ({kind}). Repeat the test on AC."),
    "VOLTAGE_TOO_LOW": gettext_lazy(
        "{applied_v} kV was applied, {proof_v} kV is the proof voltage of its class. Repeat the test."
    ),
    "TOO_SHORT": gettext_lazy(
        "The voltage was held for {seconds} s; for this purpose {required} s count. Repeat the test."
    ),
    "ZERO_CURRENT": gettext_lazy(
        "No charging current flowed. Was the lead off or the tank empty? Repeat the test: on AC a sound glove always "
        "shows some."
    ),
    "LOW_FOR_SESSION": gettext_lazy(
        "{leakage_ma} mA is below {percent} % of {expected_ma} mA, the median of {count} readings of its class and "
        "length in this session. Was the lead off or the tank low? Repeat the test."
    ),
    "LOW_FOR_ITEM": gettext_lazy(
        "{leakage_ma} mA is below {percent} % of {expected_ma} mA, its own reading when it was last accepted. Was the "
        "lead off or the tank low? Repeat the test."
    ),
    "KEPT_AS_EVIDENCE": gettext_lazy(
        "The piece was kept as evidence when this came in. The test is kept and clears nothing."
    ),
    "ZERO_RESISTANCE": gettext_lazy("No resistance was read. Were the leads on the jumper? Repeat the test."),
    "READING_MISSING": gettext_lazy("{field} is missing. Without it the test proves nothing."),
    "READING_ABSURD": gettext_lazy("{field} cannot be right: {value}."),
    "CLASS_NOT_STATED": gettext_lazy(
        "The record does not state its class. Correct what was received, then test it."
    ),
    "LENGTH_NOT_STATED": gettext_lazy(
        "The record does not state its length, and the limit depends on it. Measure it, correct what was received, "
        "then test it."
    ),
    "CABLE_NOT_STATED": gettext_lazy(
        "The record does not state its cable size. Correct what was received, then test it."
    ),
    "NO_PROOF_FIGURE": gettext_lazy(
        "The rule pack has no proof voltage for this kind and class ({kind}, {class})."
    ),
    "NO_CURRENT_LIMIT": gettext_lazy(
        "The rule pack has no current limit for class {class} and {length_mm} mm."
    ),
    "NO_RESISTANCE_LIMIT": gettext_lazy("The rule pack has no resistance limit for the cable {cable_size}."),
    "MATERIAL_WITHOUT_LIMIT": gettext_lazy(
        "The rule pack has a resistance limit for copper alone, not for {material}."
    ),
    "IMPEDANCE_ABOVE_LIMIT": gettext_lazy(
        "{reading_mohm} milliohm of AC impedance is above the limit for DC, and how much of it is reactance is not "
        "known. Measure the resistance with DC."
    ),
    "NO_DURATION_FIGURE": gettext_lazy("The rule pack has no duration for this purpose ({purpose})."),
    "NO_ELECTRICAL_FIGURES": gettext_lazy("The rule pack has no electrical figures for this kind ({kind})."),
}
FIELDS = {
    "supply": gettext_lazy("Supply"),
    "applied_v": gettext_lazy("Proof voltage applied"),
    "seconds": gettext_lazy("Held for"),
    "leakage_ma": gettext_lazy("Current"),
    "resistance_mohm": gettext_lazy("Resistance"),
    "cable_temp_c": gettext_lazy("Temperature of the cable"),
    "visual": gettext_lazy("The look"),
    "length_mm": gettext_lazy("length"),
    "class": gettext_lazy("class"),
    "cable_size": gettext_lazy("cable size"),
    "cable_length_m": gettext_lazy("cable length"),
    "cable_length_mm": gettext_lazy("cable length"),
}
OUTCOMES = {
    "accepted": gettext_lazy("ACCEPTED"),
    "failed": gettext_lazy("FAILED. REJECTED"),
    "void": gettext_lazy("VOID. REPEAT THE TEST"),
    "unjudged": gettext_lazy("NOT JUDGED"),
}
CONSEQUENCES = {
    "accepted": gettext_lazy("Its clocks start from this test."),
    "failed": gettext_lazy("That is final. Tag it, keep it apart and destroy it with a witness."),
    "void": gettext_lazy("The test is kept and proves nothing: it moves no clock and clears nothing."),
    "unjudged": gettext_lazy(
        "The test is kept, but a figure that decides is missing. Until that is settled nobody can say whether the item "
        "may be used."
    ),
}

LINE_SENTENCES = {
    "UNKNOWN_ITEM": gettext_lazy(
        "{field} {shown} is not in the gear book. Check the number; a test never makes an item."
    ),
    "OTHER_DEPOT": gettext_lazy("{field} {shown} belongs to {other}, outside your depot."),
    "OTHER_TEST": gettext_lazy(
        "{field} {shown} already holds a test of this item on this day that says something else. "
        "Correct the recorded test instead."
    ),
    "NO_RULES": gettext_lazy(
        "{field} {shown}: the rules of that day cannot be relied upon, so the test cannot be judged. "
        "Ask the administrator."
    ),
    "TEST_FAILED": gettext_lazy("The item is rejected: {why}."),
    "TEST_VOID": gettext_lazy("It clears nothing: {why}."),
    "TEST_UNJUDGED": gettext_lazy("No verdict: {why}."),
    "LAB_DIFFERS": gettext_lazy("The lab says {lab}, the readings say {ours}; the readings count."),
    "NOT_CALIBRATED": gettext_lazy("{shown}: calibration not on file."),
    "BREAKDOWN_NOT_STATED": gettext_lazy(
        "Breakdown is not stated; the voltage held for the full time counts."
    ),
    # A lab's own file
    "NOT_THIS_NUMBER": gettext_lazy(
        "{field} is {shown}. By the mapping numbers are written with a decimal {decimal} and nothing else."
    ),
    "NOT_THIS_DATE": gettext_lazy("{field} is {shown}. By the mapping dates are written {date_format}."),
    "NO_WORD": gettext_lazy("{field} is {shown}. The mapping knows: {allowed}."),
    "UNIT_HIGH": gettext_lazy(
        "{field}: unit? The whole column is far higher than its classes show when it is read in {unit}. Is it in "
        "{perhaps}? Nothing was converted: change the mapping."
    ),
    "UNIT_LOW": gettext_lazy(
        "{field}: unit? The whole column is far lower than its classes show when it is read in {unit}. Is it in "
        "{perhaps}? Nothing was converted: change the mapping."
    ),
    "CLASS_DIFFERS": gettext_lazy(
        "{field}: the lab tested it as class {shown}, the book says class {other}."
    ),
    "SERIAL_DIFFERS": gettext_lazy("{field}: the lab read serial {shown}, the book says {other}."),
    "LENGTH_DIFFERS": gettext_lazy("{field}: the lab measured {shown} mm, the book says {other} mm."),
    "CABLE_LENGTH_DIFFERS": gettext_lazy("{field}: the lab measured {shown} mm, the book says {other} mm."),
    "OLDER_THAN_LAST": gettext_lazy("{field} {shown} is older than its last test on file, {other}."),
    "NOT_IN_SHIPMENT": gettext_lazy("{shown} was not in shipment {other}."),
    "MAPPED_TWICE": gettext_lazy(
        "{field} is given twice. Choose one column, or the same for the whole file."
    ),
    "NOT_MAPPED": gettext_lazy("No column is chosen for {field}, and it is required."),
    "NO_CONSTANT": gettext_lazy("{field} cannot be {shown} for the whole file."),
    "NO_DATE_FORMAT": gettext_lazy("Choose how the lab writes dates."),
    "NO_SUCH_TARGET": gettext_lazy("{field}: there is no column {shown} of ours."),
    "NO_UNIT": gettext_lazy("{field}: choose its unit, one of {allowed}."),
    "NO_SUCH_WORD": gettext_lazy("{field}: {shown} is no word of ours. It must be one of: {allowed}."),
    "ITEM_DESTROYED": gettext_lazy("The item is recorded as destroyed; the test is kept as history."),
}


def line_problem(problem: Problem) -> str:
    """One sentence for a problem or note on a line of a test book."""
    if "why" in problem.values:
        why = ", ".join(wording.test_code({"code": code}) for code in problem.values["why"])
        problem = replace(problem, values={**problem.values, "why": why})
    return wording.line_problem(problem, LINE_SENTENCES)


def finding(found: Finding) -> str:
    """One sentence for what a judgement found. A code without words falls back to the code, never to nothing."""
    if found.code not in FINDING_SENTENCES:
        return found.code
    words = {name: _word(name, value) for name, value in found.values.items()}
    try:
        return str(FINDING_SENTENCES[found.code]).format(**words)
    except (KeyError, IndexError, ValueError):
        return f"{found.code}: " + ", ".join(f"{name} {value}" for name, value in words.items())


def _word(name: str, value: Any) -> str:
    if name == "field":
        return str(FIELDS.get(value, value))
    if name == "kind":
        return str(KIND_NAMES.get(value, value))
    if name in ("applied_v", "proof_v") and isinstance(value, int):
        return str(units.kv_from_volts(value))
    return str(value)


def lab_differs(facts: Mapping[str, Any]) -> str:
    """A sentence where the lab says other than the readings, from the facts of a `tested` entry; else nothing."""
    said, outcome = facts.get("readings", {}).get("lab_result"), facts.get("outcome")
    if not said or (said == "accept") == (outcome == "accepted"):
        return ""
    return _("The lab says: %(lab)s. The readings say otherwise, and the readings count.") % {"lab": said}


# What keeps an owner's statement from being judged as a test (inspections.rules.visiting.lacks).
NOT_PROVEN = {
    "NO_DATE": gettext_lazy("The paper names no day of test."),
    "NO_LAB": gettext_lazy("The paper names no lab."),
    "NO_REPORT": gettext_lazy("The paper has no number."),
    "NO_NUMBER": gettext_lazy("No number is marked on it, so no paper can be of it."),
    "NOT_SEEN": gettext_lazy("Nobody here has seen the paper."),
    "NO_RESULT": gettext_lazy("The paper names no result."),
    "PAPER_REJECTS": gettext_lazy("The owner's own paper rejects it."),
    "NOT_LOOKED_AT": gettext_lazy("Nobody here has looked at it and accepted it."),
}
