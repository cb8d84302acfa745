"""An independent reading of the contract, in plain Python: what the answer about an item must be.

It reads the same rows as the two import commands and shares no code with the service. Figures: 29 CFR 1910.137
tables I-1, I-2 and I-5 (class 00 currents from memory), ASTM F712 classes from memory, ASTM F2249 as summarised by a
third party, copper resistances of MIL-HDBK-1004/10. Twelve months for line hose, hoods, rigid cover and grounding sets:
the shipped policy, common practice, no source.
"""

import calendar
import datetime
from dataclasses import dataclass, field
from decimal import Decimal

PROOF_V = {
    "ac": {"00": 2500, "0": 5000, "1": 10000, "2": 20000, "3": 30000, "4": 40000},
    "dc": {"00": 10000, "0": 20000, "1": 40000, "2": 50000, "3": 60000, "4": 70000},
}
GUARD_PROOF_V = {
    "ac": {"2": 13000, "3": 24000, "4": 32000, "5": 42000, "6": 64000},
    "dc": {"2": 18000, "3": 34000, "4": 45000, "5": 60000, "6": 91000},
}
MAX_USE_V = {"00": 500, "0": 1000, "1": 7500, "2": 17000, "3": 26500, "4": 36000}
GUARD_MAX_USE_V = {"2": 14600, "3": 26400, "4": 36600, "5": 48300, "6": 72500}
CURRENT_MA = {
    "00": (8, 12, None, None),
    "0": (8, 12, 14, 16),
    "1": (None, 14, 16, 18),
    "2": (None, 16, 18, 20),
    "3": (None, 18, 20, 22),
    "4": (None, None, 22, 24),
}
COLUMNS_FROM_MM = (267, 356, 406, 456)
MILLIOHM_PER_FOOT = {
    "#2": "0.1590",
    "1/0": "0.1000",
    "2/0": "0.0795",
    "3/0": "0.0631",
    "4/0": "0.0500",
    "250 kcmil": "0.0423",
}
MONTHS = {
    "glove": 6,
    "sleeve": 12,
    "blanket": 12,
    "line_hose": 12,
    "hood": 12,
    "rigid_cover": 12,
    "grounding_jumper": 12,
}
SHELF_MONTHS = 12
WORST_FIRST = ("stop", "unknown", "good")
IN_HAND = {"person", "truck", "crew", "contractor"}
NO_DC = {"line_hose", "hood"}
CONDITION_CODES = {
    "held": "HELD",
    "needs_cleaning": "NEEDS_CLEANING",
    "out_for_test": "OUT_FOR_TEST",
    "out_for_repair": "OUT_FOR_REPAIR",
    "rejected": "REJECTED",
    "destroyed": "DESTROYED",
    "lost": "LOST",
}


@dataclass
class Expected:
    """What must come back about one item at the end of one day.

    `own` are the blocks of the item alone, `codes` with those that its set adds; `clocks` maps names to last good days.
    """

    item_no: str
    kind: str
    item_class: str
    verdict: str = "good"
    good_through: datetime.date | None = None
    clocks: dict[str, datetime.date] = field(default_factory=dict)
    codes: set[str] = field(default_factory=set)
    holder_kind: str = "shelf"
    max_use_v: int | None = None

    @property
    def winners(self):
        """The names of the clocks that end first: more than one where they end on the same day."""
        return {name for name, day in self.clocks.items() if day == self.good_through}


def last_day(start, months):
    """The day before the anniversary, clamped to the month's end first: 31 Aug + 6 months gives 27 Feb."""
    year, month = divmod(start.month - 1 + months, 12)
    year, month = start.year + year, month + 1
    day = min(start.day, calendar.monthrange(year, month)[1])
    return datetime.date(year, month, day) - datetime.timedelta(days=1)


def day_of(text):
    """A date of a cell, or None where the cell is empty."""
    return datetime.date.fromisoformat(text) if text else None


def current_limit(item):
    """The glove's limit in mA, or None where the table has no figure."""
    if not item.get("length_mm") or item.get("class") not in CURRENT_MA:
        return None
    columns = [i for i, start in enumerate(COLUMNS_FROM_MM) if Decimal(item["length_mm"]) >= start]
    return CURRENT_MA[item["class"]][columns[-1]] if columns else None


def proof_volts(item, supply):
    """The proof voltage of the item's class on that supply, or None where there is none."""
    table = GUARD_PROOF_V if item["kind"] == "rigid_cover" else PROOF_V
    return table.get(supply, {}).get(item.get("class", ""))


def jumper_is_over(item, row):
    """Whether the reading is over either limit, or None where size, length or temperature is not known."""
    size, length = item.get("cable_size", ""), item.get("cable_length_m", "")
    if size not in MILLIOHM_PER_FOOT or not length or not row.get("cable_temp_c"):
        return None
    at_20 = Decimal(MILLIOHM_PER_FOOT[size]) * Decimal(length) / Decimal("0.3048")
    factor = 1 + Decimal("0.00393") * (Decimal(row["cable_temp_c"]) - 20)
    reading = Decimal(row["resistance_mohm"])
    corrected_fits = reading / factor <= Decimal("1.05") * at_20 + Decimal("0.32")
    hot_fits = reading <= Decimal("1.05") * at_20 * factor + Decimal("0.32")
    return not (corrected_fits and hot_fits)


def judged(item, row, *, expired_instruments=()):
    """`accepted`, `failed`, `void` or `unjudged` (a limit has no figure), in the order failed, void, unjudged."""
    if item["kind"] == "grounding_jumper":
        failed, void, unjudged = jumper_findings(item, row)
    elif item["kind"] not in MONTHS:
        # Protectors have no electrical test: the look is all. Of the other tools the pack has no figures.
        failed, void, unjudged = False, False, item["kind"] != "protector"
    else:
        failed, void, unjudged = electrical_findings(item, row)
    failed = failed or row["visual"] == "reject" or row.get("breakdown") == "yes"
    void = void or row["visual"] in ("clean", "test") or row.get("flashover") == "yes"
    void = void or row.get("instrument", "") in expired_instruments
    return "failed" if failed else "void" if void else "unjudged" if unjudged else "accepted"


def jumper_findings(item, row):
    """(failed, void, unjudged) of a resistance reading."""
    if not row.get("resistance_mohm") or not row.get("cable_temp_c"):
        return False, True, False
    over = jumper_is_over(item, row)
    return over is True, False, over is None


def electrical_findings(item, row):
    """(failed, void, unjudged) of a proof test."""
    supply, proof = row.get("supply", ""), proof_volts(item, row.get("supply", ""))
    need = 180 if row["purpose"] == "first" else 60
    void = not (supply and row.get("applied_v") and row.get("seconds"))
    void = void or (supply == "dc" and item["kind"] in NO_DC)
    void = void or (proof is not None and Decimal(row["applied_v"]) < proof)
    void = void or Decimal(row["seconds"]) < need
    failed, unjudged = False, bool(supply) and proof is None
    if item["kind"] == "glove" and supply != "dc":
        limit, current = current_limit(item), row.get("leakage_ma", "")
        void = void or not current or Decimal(current) == 0
        most = limit if item.get("length_mm") else max(filter(None, CURRENT_MA[item["class"]]))
        failed = bool(current) and most is not None and Decimal(current) > most
        unjudged = unjudged or limit is None
    return failed, void, unjudged


def received_on(item, tests, imported_on):
    """The day the item came into the book: received, else made, else the first day anything is recorded of it.

    Without any such day it came with the import.
    """
    stated = day_of(item.get("received_on", "")) or day_of(item.get("made_on", ""))
    first = [day_of(item.get("first_issued_on", "")), *(day_of(row["tested_on"]) for row in tests)]
    return stated or min(filter(None, first), default=imported_on)


def clocks_of(item, as_of, last_test):
    """The clocks that run for an item last accepted on `last_test`."""
    months, issued = MONTHS.get(item["kind"]), day_of(item.get("first_issued_on", ""))
    if months is None:
        return {}
    clocks = {}
    if issued is None and item["holder_kind"] in IN_HAND:
        clocks[f"last_test+{months}"] = last_day(last_test, months)
    elif issued is None or issued > as_of:
        clocks[f"last_test+{SHELF_MONTHS}"] = last_day(last_test, SHELF_MONTHS)
    elif last_test > issued:
        clocks[f"last_test+{months}"] = last_day(last_test, months)
    else:
        clocks[f"first_issue+{months}"] = last_day(issued, months)
        clocks[f"last_test+{SHELF_MONTHS}"] = last_day(last_test, SHELF_MONTHS)
    return clocks


def findings_of(item, tests, as_of):
    """The blocks that the test rows leave behind by the end of `as_of`, and the day of the last accepted test.

    On one day the worse outcome stands: a look that asks for a test, or for cleaning, outlasts the pass of that day.
    """
    codes, accepted = set(), []
    dated = [(day_of(row["tested_on"]), row, judged(item, row)) for row in tests]
    dated = [each for each in dated if each[0] <= as_of]
    accepted = max((day for day, _, outcome in dated if outcome == "accepted"), default=datetime.date.min)
    for day, row, outcome in dated:
        if outcome == "failed":
            codes.add("FAILED_TEST")
        if row["visual"] == "test" and day >= accepted:
            codes.add("NEEDS_TEST")
        if row["visual"] == "clean" and day >= accepted:
            codes.add("NEEDS_CLEANING")
        if outcome == "unjudged" and day >= accepted:
            codes.add("TEST_NOT_JUDGED")
    return codes, None if accepted == datetime.date.min else accepted


def alone(item, tests, as_of, imported_on):
    """The answer about the item without its set."""
    expected = Expected(item["item_no"], item["kind"], item.get("class", ""))
    uses = GUARD_MAX_USE_V if item["kind"] == "rigid_cover" else MAX_USE_V
    expected.max_use_v = None if item["kind"] == "grounding_jumper" else uses.get(expected.item_class)
    if received_on(item, tests, imported_on) > as_of:
        expected.codes, expected.verdict = {"NOT_YET_RECEIVED"}, "unknown"
        return expected
    expected.codes, last_test = findings_of(item, tests, as_of)
    issued = day_of(item.get("first_issued_on", ""))
    expected.holder_kind = item["holder_kind"] if issued is None or issued <= as_of else "shelf"
    if last_test and "NEEDS_TEST" not in expected.codes:
        expected.clocks = clocks_of(item, as_of, last_test)
    if item.get("marked_expiry_on"):
        expected.clocks["marked_expiry"] = day_of(item["marked_expiry_on"])
    expected.good_through = min(expected.clocks.values(), default=None)
    if last_test is None and "TEST_NOT_JUDGED" not in expected.codes:
        expected.codes.add("NEVER_TESTED")
    if expected.good_through and expected.good_through < as_of:
        expected.codes.add(date_code(item, expected, as_of))
    if item.get("condition", "") not in ("", "ok") and imported_on <= as_of:
        expected.codes.add(CONDITION_CODES[item["condition"]])
    expected.verdict = verdict_of(expected.codes)
    return expected


def date_code(item, expected, as_of):
    """SHELF_LIMIT where only the shelf allowance of a never issued item has run out, else OUT_OF_DATE."""
    issued = day_of(item.get("first_issued_on", ""))
    never = (issued is None or issued > as_of) and not (issued is None and item["holder_kind"] in IN_HAND)
    return "SHELF_LIMIT" if never and expected.winners == {f"last_test+{SHELF_MONTHS}"} else "OUT_OF_DATE"


def verdict_of(codes):
    """`stop` outranks `unknown`, and `good` is what is left when nothing speaks against it."""
    unknown = {"NOT_YET_RECEIVED", "TEST_NOT_JUDGED"}
    return "stop" if codes - unknown else "unknown" if codes else "good"


def answers(gear, tests, *, as_of, imported_on):
    """{item_no: Expected} for a gear book and its test rows at the end of the day `as_of`."""
    by_item = {}
    for row in tests:
        by_item.setdefault(row["item_no"], []).append(row)
    told = {
        item["item_no"]: alone(item, by_item.get(item["item_no"], []), as_of, imported_on) for item in gear
    }
    troubles = {item["item_no"]: trouble_of_set(item, gear, told) for item in gear}
    for item_no, trouble in troubles.items():
        if trouble:
            told[item_no].codes.add("SET_NOT_COMPLETE")
            told[item_no].verdict = min(told[item_no].verdict, trouble, key=WORST_FIRST.index)
    return told


def trouble_of_set(item, gear, told):
    """`stop` where a member is missing or may not be used, `unknown` where one of them cannot be told, else None."""
    if "NOT_YET_RECEIVED" in told[item["item_no"]].codes:
        return None
    others = [
        one for one in gear if item.get("set_no") and one.get("set_no") == item["set_no"] and one is not item
    ]
    if item["kind"] in ("glove", "sleeve") and not others:
        return "stop"
    verdicts = {
        "stop" if "NOT_YET_RECEIVED" in told[one["item_no"]].codes else told[one["item_no"]].verdict
        for one in others
    }
    return next((verdict for verdict in WORST_FIRST[:2] if verdict in verdicts), None)
