"""Labels on stock: which items get one, every line in its place, page by page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.labels.text import LabelText, Square, address, may_have_label, square, text_of
from gear.queries import Question, Seen
from gear.rules.lettering import DoesNotFit, Line, Placed, fit
from gear.rules.packs import RulePack
from gear.rules.stock import Stock

NAMES: Mapping[str, Promise] = {
    "letter_30": gettext_lazy("Letter sheet, 3 x 10, 66.7 x 25.4 mm"),
    "a4_30": gettext_lazy("A4 sheet, 3 x 10, 70 x 29.7 mm"),
    "roll_57x32": gettext_lazy("Roll, 57 x 32 mm"),
    "cuff_tag": gettext_lazy("Cuff tag, 80 x 24 mm, for gloves and sleeves"),
    "bag_tag": gettext_lazy("Bag tag, 60 x 100 mm, with a hole"),
    "ground_tag": gettext_lazy("Ground tag, 24 x 62 mm, for grounding jumpers"),
    "set_tag": gettext_lazy("Set tag, 90 x 50 mm, for pieces of a set"),
}
# line: its usual size in points
LINES: Mapping[str, float] = {
    "number": 11,
    "kind": 6.5,
    "size": 6.5,
    "class": 8,
    "use": 9.5,
    "set": 6.5,
    "code": 8,
    "dates": 5.6,
    "cable": 15,
    "cable_length": 7.5,
    "grade": 8,
    "set_no": 14,
    "of_set": 11,
}
BOLD = frozenset({"number", "class", "use", "code", "through", "cable", "grade", "set_no", "of_set", "demo"})
WHY_NOT: Mapping[str, Promise] = {
    "NOT_IN_BOOK": gettext_lazy("There is no such item in the book."),
    "NO_CODE": gettext_lazy("It has no label code yet. Give it one on its page: replace its label."),
    "FINISHED": gettext_lazy("It is rejected or destroyed, so it gets no label."),
    "NOT_RELIABLE": gettext_lazy("Its record cannot be relied upon. See the administrator."),
    "WRONG_KIND": gettext_lazy("This stock is not meant for this kind of gear."),
    "NO_SET": gettext_lazy("It belongs to no set, and this stock is for sets."),
    "DOES_NOT_FIT": gettext_lazy("Its text would be too small to read on this stock. Choose a larger one."),
}
TROUBLE: Mapping[str, Promise] = {
    "SQUARE_TOO_SMALL": gettext_lazy(
        "The square on this stock would be under 20 mm, and phones fail to read it. Choose a larger stock."
    ),
    "MODULES_TOO_FINE": gettext_lazy(
        "The address of this site is so long that the square on this stock would be too fine to print: "
        "under 3 dots to a module at 200 dpi. Choose a stock with a larger square, or a shorter BASE_URL."
    ),
}
SAMPLE_CODE = "TEST0000000"  # as long as a code, and none: its scan is answered with "code unreadable"


@dataclass(frozen=True)
class Label:
    """One label that can be printed: the item, its code in force, and every line in its place."""

    item_no: str
    code: str
    text: LabelText
    lines: tuple[Placed, ...]


@dataclass(frozen=True)
class Left:
    """An item that gets no label on this stock, and why."""

    item_no: str
    why: str


@dataclass(frozen=True)
class OnPage:
    """A label where it stands: its upper left corner in mm from that of the page."""

    x: float
    y: float
    label: Label
    square: Square


Sheet = tuple[OnPage, ...]


def trouble_with(stock: Stock, *, base_url: str) -> str:
    """Why nothing can be printed on a stock with the address of this site; nothing where all is well."""
    code = stock.refusal(square(address(SAMPLE_CODE, base_url=base_url)).modules)
    return str(TROUBLE[code]) if code else ""


def labels_for(
    looked_at: Iterable[Seen],
    asked: Question,
    *,
    pack: RulePack | None,
    stock: Stock,
    dates: bool = True,
    demo: bool = False,
) -> tuple[list[Label], list[Left]]:
    """(labels that can be printed on the stock, items left out with the reason), in the order given."""
    made: list[Label] = []
    left: list[Left] = []
    for seen in looked_at:
        item_no = seen.answer.item_no
        text = text_of(seen, asked, pack=pack)
        if text is None or seen.facts is None or (code := _misfit(seen, stock)):
            why = _why_none(seen) if text is None or seen.facts is None else code
            left.append(Left(item_no, str(WHY_NOT[why])))
            continue
        try:
            lines = tuple(_placed(text, stock, dates=dates, demo=demo))
        except DoesNotFit:
            left.append(Left(item_no, str(WHY_NOT["DOES_NOT_FIT"])))
        else:
            made.append(Label(item_no, seen.facts.label or "", text, lines))
    return made, left


def _why_none(seen: Seen) -> str:
    if seen.facts is None:
        return "NOT_IN_BOOK"
    if not seen.reliable:
        return "NOT_RELIABLE"
    return "FINISHED" if seen.facts.label and not may_have_label(seen.facts) else "NO_CODE"


def _misfit(seen: Seen, stock: Stock) -> str:
    facts = seen.facts
    if facts is not None and stock.kinds is not None and facts.kind not in stock.kinds:
        return "WRONG_KIND"
    return "NO_SET" if facts is not None and stock.sets_only and facts.set_no is None else ""


def _placed(text: LabelText, stock: Stock, *, dates: bool, demo: bool) -> Iterable[Placed]:
    for area in stock.areas:
        lines = [
            Line(
                name,
                words,
                points * area.scale,
                bold=name in BOLD,
                mono=name == "code",
                swatch=name == "class" and bool(text.colour),
            )
            for slot in area.lines
            for name, words, points in _lines(slot, text, dates=dates, demo=demo)
            if words
        ]
        yield from fit(lines, area.box)


def _lines(slot: str, text: LabelText, *, dates: bool, demo: bool) -> Iterable[tuple[str, str, float]]:
    """(name, words, points) of what stands under one name; a line without words is left out."""
    if slot == "dates":
        yield from _dates(text, wanted=dates, demo=demo)
        return
    words = {
        "number": text.item_no,
        "kind": text.kind,
        "size": text.size,
        "class": ", ".join(word for word in (text.cls, text.colour) if word) or text.grade,
        "use": _("MAX USE %s") % text.max_use if text.max_use else "",
        "set": text.of_set,
        "code": text.code,
        "cable": text.cable,
        "cable_length": text.cable_length,
        "grade": text.grade,
        "set_no": text.set_no,
        "of_set": text.place_in_set,
    }[slot]
    yield slot, words, LINES[slot]


def _dates(text: LabelText, *, wanted: bool, demo: bool) -> Iterable[tuple[str, str, float]]:
    points = LINES["dates"]
    if wanted and text.tested_on and text.good_through:
        yield "tested", _("TESTED ON %s") % wording.day(text.tested_on), points
        yield "through", _("GOOD THROUGH %s") % wording.day(text.good_through), points
        yield "as_of", _("as of %s, scan to confirm") % wording.day(text.as_of), points
    else:
        yield "scan", _("Scan before use."), points
    if demo:
        yield "demo", _("DEMO: not real gear"), points


def arrange(
    labels: Sequence[Label | None], *, stock: Stock, base_url: str, start: int = 1, copies: int = 1
) -> list[Sheet]:
    """The pages: every label `copies` times in a row, the first at position `start` of the first page.

    The place of a None stays empty.
    """
    sheets: list[list[OnPage]] = []
    squares: dict[str, Square] = {}
    wanted = [label for label in labels for _copy in range(copies)]
    for index, label in enumerate(wanted):
        page, x, y = stock.place(index, start=start)
        while len(sheets) <= page:
            sheets.append([])
        if label is not None:
            if label.code not in squares:
                squares[label.code] = square(address(label.code, base_url=base_url))
            sheets[page].append(OnPage(x, y, label, squares[label.code]))
    return [tuple(sheet) for sheet in sheets]
