"""One line of the report in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from gear import wording
from gear.models import HOLDER_NAMES, KIND_NAMES
from gear.rules.readiness import Reason
from reports.rules.overdue import Line
from reports.wording import loop

# The columns beside it say how many days; the sentence for a worker would say it twice.
DATED = {
    "OUT_OF_DATE": gettext_lazy("Out of date ({clock})."),
    "SHELF_LIMIT": gettext_lazy("Shelf time over, never issued ({clock})."),
}


@dataclass(frozen=True)
class Row:
    """What page and print show of an item.

    `verdict` is the code, `tag` its word; `days` is empty where nothing dates the item; `belongs`
    tells what the holder is, and whose. `opened`, `spare` and `promised` are those of a line of page one,
    `chosen` whether its box is ticked.
    """

    item_no: str
    what: str
    holder: str
    belongs: str
    good_through: str
    days: str
    late: bool
    clock: str
    verdict: str
    tag: str
    reasons: tuple[str, ...]
    carried: bool = False
    opened: str = ""
    spare: str = ""
    promised: str = ""
    broken: bool = False
    promise_note: str = ""
    chosen: bool = False


def row(line: Line, *, placed: bool = True, as_of: date | None = None) -> Row:
    """The line in words; without crew and depot of the holder where `placed` is False and a heading names them.

    `as_of` is the day of a report whose promises are told.
    """
    promised = line.promised if as_of else None
    return Row(
        item_no=line.item_no,
        what=_what(line),
        holder=line.holder or _("not on record"),
        belongs=_belongs(line, placed=placed),
        good_through=wording.day(line.good_through) if line.good_through else _("no date"),
        days=_days(line),
        late=line.days_over is not None,
        clock=wording.clock(line.winning_clock),
        verdict=line.verdict,
        tag={"good": _("GOOD"), "stop": _("STOP")}.get(line.verdict) or _("CAN'T SAY"),
        reasons=tuple(map(_reason, line.reasons)),
        carried=line.carried,
        opened=loop.opened(line),
        spare=loop.spare(line),
        promised=loop.promised(promised, as_of) if as_of else "",
        broken=bool(as_of and promised and promised.broken(as_of)),
        promise_note=promised.note if promised else "",
    )


def _what(line: Line) -> str:
    kind = str(KIND_NAMES.get(line.kind, line.kind)) if line.kind else _("kind not on record")
    words = _("%(kind)s, class %(cls)s") % {"kind": kind, "cls": line.cls} if line.cls else kind
    return _("%(what)s, size %(size)s") % {"what": words, "size": line.size} if line.size else words


def _belongs(line: Line, *, placed: bool) -> str:
    kind = str(HOLDER_NAMES.get(line.holder_kind, line.holder_kind)) if line.holder_kind else ""
    words = (kind, line.crew, line.depot) if placed else (kind,)
    return ", ".join(word for word in words if word)


def _days(line: Line) -> str:
    if line.days_over is not None:
        return ngettext("%d day over", "%d days over", line.days_over) % line.days_over
    if line.days_left is not None:
        return ngettext("%d day left", "%d days left", line.days_left) % line.days_left
    return ""


def _reason(one: Reason) -> str:
    """A sentence for a reason, for a reader who has the dates in the next column."""
    if one.code in DATED and "clock" in one.values:
        return DATED[one.code].format(clock=wording.clock(one.values["clock"]))
    return wording.sentence(one)
