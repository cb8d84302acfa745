"""What a label says and the square that a phone reads. Dates are a courtesy, the scan decides."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import qrcode
from django.utils.translation import gettext as _

from gear.queries import Question, Seen, described
from gear.rules import codes
from gear.rules.fold import ItemFacts
from gear.rules.packs import RUBBER_KINDS, RulePack
from gear.rules.readiness import GOOD, Answer

QUIET_ZONE = 4  # modules of white on every side: ISO/IEC 18004
NEVER_LABELLED = frozenset({"rejected", "destroyed"})


@dataclass(frozen=True)
class Square:
    """A QR code as the path of one SVG, `modules` wide and high with its quiet zone, and the text it holds."""

    text: str
    modules: int
    path: str


@dataclass(frozen=True)
class LabelText:
    """The lines of a label. `tested_on` and `good_through` are None before issue and while the item is not good."""

    item_no: str
    kind: str
    cls: str
    colour: str
    max_use: str
    grade: str
    size: str
    of_set: str
    code: str
    cable: str
    cable_length: str
    set_no: str
    place_in_set: str
    tested_on: date | None
    good_through: date | None
    as_of: date


def address(code: str, *, base_url: str) -> str:
    """The address in the square, in capitals throughout: the alphanumeric mode of QR codes needs fewer modules."""
    return f"{base_url.rstrip('/')}/T/{code}".upper()


def square(text: str) -> Square:
    """A QR code of error correction level Q: read with a tenth of it scratched away."""
    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_Q, border=QUIET_ZONE)
    code.add_data(text)
    code.make(fit=True)
    matrix = code.get_matrix()
    path = "".join(
        f"M{start} {y}h{end - start}v1h-{end - start}z"
        for y, row in enumerate(matrix)
        for start, end in _runs(row)
    )
    return Square(text, len(matrix), path)


def _runs(row: list[bool]) -> list[tuple[int, int]]:
    """(start, end) of every run of dark modules in a row."""
    runs, start = [], None
    for x, dark in enumerate([*row, False]):
        if dark and start is None:
            start = x
        elif not dark and start is not None:
            runs.append((start, x))
            start = None
    return runs


def may_have_label(facts: ItemFacts) -> bool:
    """Whether there is a code to print, on a piece that may ever be used again."""
    return bool(facts.label) and facts.condition not in NEVER_LABELLED


def text_of(seen: Seen, asked: Question, *, pack: RulePack | None) -> LabelText | None:
    """What the label of an item says.

    None for an item without a label code, one that never needs a label again, and one whose record is not reliable.
    """
    facts, answer, rating = seen.facts, seen.answer, seen.rating
    if facts is None or not seen.reliable or not may_have_label(facts):
        return None
    tested_on, good_through = _dates(facts, answer)
    grade = rating.grade.grade if rating and rating.grade else None
    return LabelText(
        item_no=facts.item_no,
        kind=_kind(facts),
        cls=described.class_word(facts.cls),
        colour=_colour(facts, pack),
        max_use=described.volts(rating.max_use) if rating else "",
        grade=_("Grade %s") % grade if grade else "",
        size=_size(facts),
        of_set=_of_set(seen),
        code=codes.grouped(facts.label or ""),
        cable=str(facts.identity.get("cable_size") or ""),
        cable_length=described.cable_length(facts.identity.get("cable_length_m")),
        set_no=facts.set_no or "",
        place_in_set=_place_in_set(seen),
        tested_on=tested_on,
        good_through=good_through,
        as_of=asked.as_of,
    )


def _dates(facts: ItemFacts, answer: Answer) -> tuple[date | None, date | None]:
    """(tested on, good through), the earlier of the item's and its set's: a label outlives what it was printed from."""
    if not facts.issued or answer.verdict != GOOD or facts.accepted is None or answer.good_through is None:
        return None, None
    return facts.accepted.on, min(answer.good_through, answer.set_good_through or answer.good_through)


def _kind(facts: ItemFacts) -> str:
    words = (described.kind_word(facts.kind), described.hand_word(facts.identity.get("hand")))
    return ", ".join(word for word in words if word)


def _colour(facts: ItemFacts, pack: RulePack | None) -> str:
    """The name of the class colour of rubber goods (ASTM D120, as the pack has it)."""
    figure = pack.colour(facts.cls) if pack and facts.kind in RUBBER_KINDS else None
    return str(figure.value) if figure else ""


def _size(facts: ItemFacts) -> str:
    words = (described.size_word(facts.identity), described.length(facts.identity.get("length_mm")))
    return ", ".join(word for word in words if word)


def _of_set(seen: Seen) -> str:
    """`P-0617: 1 of 2`, counted by item number; nothing for an item used alone."""
    if seen.facts is None or seen.facts.set_no is None:
        return ""
    return _("%(set)s: %(place)s") % {"set": seen.facts.set_no, "place": _place_in_set(seen)}


def _place_in_set(seen: Seen) -> str:
    """`1 of 2`, or nothing."""
    facts = seen.facts
    if facts is None or facts.set_no is None:
        return ""
    members = sorted([facts.item_no, *(mate.item_no for _answer, mate in seen.mates)])
    count = max(len(members), (seen.gear_set.required if seen.gear_set else None) or 0)
    return _("%(place)s of %(count)s") % {"place": members.index(facts.item_no) + 1, "count": count}
