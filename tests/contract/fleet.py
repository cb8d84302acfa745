"""Seeded random gear books and test books, as rows of text, with every boundary of the contract in reach."""

import datetime
import random

GEAR_COLUMNS = [
    "item_no",
    "serial",
    "kind",
    "class",
    "hand",
    "size",
    "length_mm",
    "type",
    "colour",
    "maker",
    "model",
    "lot",
    "made_on",
    "received_on",
    "first_issued_on",
    "marked_expiry_on",
    "rated_kv",
    "cable_size",
    "cable_length_m",
    "clamp_grade",
    "ferrule_grade",
    "set_no",
    "holder",
    "holder_kind",
    "crew",
    "depot",
    "condition",
]
TEST_COLUMNS = [
    "item_no",
    "tested_on",
    "purpose",
    "supply",
    "applied_v",
    "seconds",
    "leakage_ma",
    "resistance_mohm",
    "cable_temp_c",
    "visual",
    "breakdown",
    "flashover",
    "lab_result",
    "lab",
    "instrument",
    "report_no",
]
PROOF = {"00": 2500, "0": 5000, "1": 10000, "2": 20000, "3": 30000, "4": 40000}
DC_PROOF = {"00": 10000, "0": 20000, "1": 40000, "2": 50000, "3": 60000, "4": 70000}
GUARD = {"2": 13000, "3": 24000, "4": 32000, "5": 42000, "6": 64000}
LENGTHS = ["267", "280", "281", "356", "360", "405", "406", "410", "456", "460", "600", "266"] + [""]
OHMS = {
    "#2": 159,
    "1/0": 100,
    "2/0": 79.5,
    "3/0": 63.1,
    "4/0": 50,
    "250 kcmil": 42.3,
    "350 kcmil": 30,
    "": 79.5,
}
HOLDERS = [
    ("Dev", "person"),
    ("T-12", "truck"),
    ("Crew 7 cage", "crew"),
    ("Rack A", "shelf"),
    ("Bench 1", "bench"),
    ("The lab", "lab"),
    ("Line Builders", "contractor"),
]
OTHERS = ["protector", "live_line_tool", "voltage_detector"]
AWKWARD = {(2, 28), (2, 29), (5, 31), (8, 31), (12, 31), (1, 1)}
CONDITIONS = [""] * 20 + [
    "ok",
    "held",
    "needs_cleaning",
    "out_for_test",
    "out_for_repair",
    "rejected",
    "destroyed",
    "lost",
]


def book(seed, pieces, today):
    """(gear rows, test rows) of about `pieces` items: loose pieces, pairs and grounding sets with their histories.

    Nothing is dated later than five days before `today`.
    """
    draw = random.Random(seed)
    gear, number = [], 0
    while len(gear) < pieces:
        number += 1
        gear += group(draw, number, today)
    tests = [row for item in gear for row in history(draw, item, today)]
    draw.shuffle(gear)
    draw.shuffle(tests)
    return gear, tests


def group(draw, number, today):
    """The items that share a life: a pair, half a pair, a grounding set or one loose piece."""
    kind = draw.choice(["glove"] * 5 + ["sleeve"] * 2 + ["grounding_jumper"] * 3)
    if draw.random() < 0.35:
        kind = draw.choice(["blanket", "line_hose", "hood", "rigid_cover"] * 3 + OTHERS)
    first = piece(draw, number, kind, today)
    if kind in ("glove", "sleeve"):
        hands = draw.choice(["LR"] * 8 + ["L", "R"])
        rows = [dict(first, hand=hand, item_no=f"{first['item_no']}{hand}") for hand in hands]
    elif kind == "grounding_jumper":
        count = draw.choice([1, 3, 3, 4])
        rows = [dict(first, item_no=f"{first['item_no']}-{n}") for n in range(1, count + 1)]
    else:
        return [dict(first, set_no="")]
    for row in rows:
        if draw.random() < 0.1 and row["received_on"] and row["first_issued_on"]:
            row["received_on"] = draw.choice([row["made_on"], row["first_issued_on"]])
        if draw.random() < 0.15:
            row["condition"] = draw.choice(CONDITIONS)
        if draw.random() < 0.15:
            row["holder"], row["holder_kind"] = draw.choice(HOLDERS)
        if kind == "grounding_jumper" and draw.random() < 0.3:
            row["cable_length_m"] = draw.choice(["", "1.829", "3.048", "6.1"])
    if len(rows) == 1 and draw.random() < 0.5:
        rows[0]["set_no"] = ""
    return rows


def piece(draw, number, kind, today):
    """One gear row with the facts that its group shares."""
    row = dict.fromkeys(GEAR_COLUMNS, "")
    made = today - datetime.timedelta(days=890 + draw.randrange(900))
    received = made + datetime.timedelta(days=draw.randrange(60))
    issued = received + datetime.timedelta(days=draw.choice([0, 1, 30, 200, 364, 365, 366, 500, 900]))
    issued = min(issued, today - datetime.timedelta(days=5))
    holder, holder_kind = draw.choice(HOLDERS)
    row.update(item_no=f"{kind[0].upper()}-{number:05d}", kind=kind, holder=holder, holder_kind=holder_kind)
    row.update(made_on=made.isoformat(), maker="Maker A", set_no=f"S-{number:05d}")
    row["received_on"] = draw.choice([received.isoformat()] * 5 + [""])
    row["first_issued_on"] = draw.choice([issued.isoformat()] * 3 + [""])
    row["depot"], row["crew"] = "Tannery Road", "Crew 7"
    row["condition"] = draw.choice(CONDITIONS)
    if draw.random() < 0.08:
        row["made_on"] = row["received_on"] = ""
    if draw.random() < 0.12:
        row["marked_expiry_on"] = (issued + datetime.timedelta(days=draw.randrange(1200))).isoformat()
    if kind == "grounding_jumper":
        row.update(
            cable_size=draw.choice(list(OHMS)[:6] * 4 + ["350 kcmil", ""]), clamp_grade="5", ferrule_grade="5"
        )
        row["cable_length_m"] = draw.choice(["3.048", "6.096", "1.829", "4.5", "12.192"] * 2 + [""])
    elif kind not in OTHERS:
        row["class"] = draw.choice(list(GUARD if kind == "rigid_cover" else PROOF))
    if kind == "glove":
        row.update(length_mm=draw.choice(LENGTHS), size="10", type="I", colour="yellow")
    return row


def history(draw, item, today):
    """The test rows of one item: mostly sound, each figure now and then at, just under or just over its boundary."""
    last = today - datetime.timedelta(days=5)
    unknown = (today - datetime.timedelta(days=999)).isoformat()
    start = datetime.date.fromisoformat(item["received_on"] or item["made_on"] or unknown)
    day, tests = start + datetime.timedelta(days=draw.choice([0, 0, 5, 40])), []
    for _ in range(draw.choice([0, 1, 2, 2, 3, 4, 6])):
        tests.append(a_test(draw, item, day.isoformat(), first=not tests))
        day += datetime.timedelta(days=draw.choice([0, 1, 28, 100, 181, 182, 183, 184, 300, 365, 366]))
        if draw.random() < 0.2:
            day = next_awkward(day)
    if tests and item["first_issued_on"] and draw.random() < 0.2:
        tests[-1]["tested_on"] = max(item["first_issued_on"], start.isoformat())
    return [row for row in tests if row["tested_on"] <= last.isoformat()]


def next_awkward(day):
    """The next day, from `day` on, whose anniversaries fall on the end of a shorter month or into another year."""
    while (day.month, day.day) not in AWKWARD:
        day += datetime.timedelta(days=1)
    return day


def a_test(draw, item, tested_on, *, first):
    """One test row."""
    row = dict.fromkeys(TEST_COLUMNS, "")
    purpose = (
        draw.choice(["first"] * 4 + ["in_service"])
        if first
        else draw.choice(["in_service"] * 6 + ["first", "after_repair", "suspect"])
    )
    row.update(item_no=item["item_no"], tested_on=tested_on, purpose=purpose, lab="Lab", instrument="")
    row["visual"] = draw.choice(["accept"] * 30 + ["clean", "test", "reject"])
    row["report_no"] = f"R-{draw.randrange(10**9)}"
    row["lab_result"] = draw.choice(["accept", "accept", "reject", ""])
    if item["kind"] == "grounding_jumper":
        row.update(resistance(draw, item))
        return row
    if item["kind"] in OTHERS:
        return row
    row.update(withstand(draw, item, 180 if purpose == "first" else 60))
    row["breakdown"] = draw.choice(["no"] * 30 + ["", "yes"])
    row["flashover"] = draw.choice(["no"] * 30 + ["", "yes"])
    return row


def withstand(draw, item, need):
    """Supply, voltage, seconds and current of a proof test."""
    supply = draw.choice(["ac"] * 12 + ["dc", ""])
    table = GUARD if item["kind"] == "rigid_cover" else DC_PROOF if supply == "dc" else PROOF
    proof = table[item["class"]] + (5000 if item["kind"] == "rigid_cover" and supply == "dc" else 0)
    applied = draw.choice([proof] * 12 + [proof + 1, proof + 500, proof - 1, ""])
    if item["kind"] == "rigid_cover" and supply == "dc":
        applied = draw.choice([100000, 1000])
    seconds = draw.choice([need] * 12 + [need + 1, 180, need - 1, 59, 60, ""])
    return {
        "supply": supply,
        "applied_v": str(applied),
        "seconds": str(seconds),
        "leakage_ma": current(draw, item),
    }


def current(draw, item):
    """A leakage reading near the limits of the tables."""
    if item["kind"] != "glove":
        return draw.choice(["", "0", "3", "99"])
    near = draw.choice([8, 12, 14, 16, 18, 20, 22, 24])
    return draw.choice(
        ["4", "5.5", "7.999"] * 6 + [str(near), f"{near}.001", f"{near - 1}.999", "0", "0.001", ""]
    )


def resistance(draw, item):
    """A reading at, under or over the limit of the jumper at 20 C, with the cable hot or cold."""
    feet = float(item["cable_length_m"] or 3) / 0.3048
    limit = 1.05 * OHMS[item["cable_size"]] / 1000 * feet + 0.32
    temperature = draw.choice(["20"] * 4 + ["35", "0", "-10", "40.5", ""])
    reading = limit * draw.choice([0.7] * 8 + [0.95, 0.99, 0.999, 1, 1.001, 1.02, 1.06])
    return {"resistance_mohm": draw.choice([f"{reading:.3f}"] * 15 + [""]), "cable_temp_c": temperature}
