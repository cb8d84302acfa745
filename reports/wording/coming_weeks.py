"""The coming weeks in words, and as a picture of bars that can be read without colour, on a phone and on paper.

The picture is plain SVG with presentation attributes: no script, no style, one colour (that of the text around it). A
bar is what falls due, the upright line what bench and labs take, hatching what does not fit, dots what waits already.
Every figure stands in it as text, and the whole is told once more in `told` for whoever hears it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from gear.queries.described import kind_word
from reports.rules.planning import Ahead, Week, week_of

WIDTH, BAR, ROW, TEXT = 360, 12, 46, 13  # units of the drawing; a phone shows one for a pixel
FULL = WIDTH - 2  # the longest bar; the line of a capacity needs its own width


@dataclass(frozen=True)
class Bar:
    """One line of the picture, all lengths in its units. `line` is where the capacity stands, None where none does."""

    name: str
    figure: str
    y: int  # of the text's base line
    top: int  # of the bar
    fits: float
    over: float
    waits: float
    line: float | None
    bold: bool

    @property
    def line_top(self) -> int:
        return self.top - 4

    @property
    def line_height(self) -> int:
        return BAR + 8


@dataclass(frozen=True)
class Picture:
    """The drawing: `told` says all of it in one text, `headline` what matters in a sentence."""

    key: str  # makes the ids of one page unique
    headline: str
    told: str
    bars: tuple[Bar, ...]
    width: int
    height: int
    bar: int
    text: int


def picture(ahead: Ahead, *, key: str = "weeks") -> Picture:
    """The picture of a look ahead. `key` tells two pictures of one page apart."""
    waiting = sum(ahead.load.waiting.values())
    most = max([1, waiting, *(max(week.count, week.capacity or 0) for week in ahead.weeks)])
    bars = [_waiting(waiting, most)] if waiting else []
    bars += [_bar(week, most, place) for place, week in enumerate(ahead.weeks, start=len(bars))]
    told = " ".join([headline(ahead), *(f"{bar.name}: {bar.figure}." for bar in bars)])
    return Picture(key, headline(ahead), told, tuple(bars), WIDTH, len(bars) * ROW, BAR, TEXT)


def _waiting(count: int, most: int) -> Bar:
    name, figure = _("Due already"), ngettext("%d waits", "%d wait", count) % count
    return Bar(name, figure, TEXT, TEXT + 7, 0, 0, FULL * count / most, None, True)


def _bar(week: Week, most: int, place: int) -> Bar:
    base = place * ROW + TEXT
    over = min(week.over, week.count)
    line = None if week.capacity is None else max(1.5, FULL * week.capacity / most)
    fits, more = FULL * (week.count - over) / most, FULL * over / most
    return Bar(week_name(week.monday), figure_of(week), base, base + 7, fits, more, 0, line, bool(over))


def week_name(monday: date) -> str:
    """`30 Nov, week 49`: by its Monday, and by its number of ISO 8601."""
    return _("%(day)s, week %(number)d") % {
        "day": date_format(monday, "j M"),
        "number": monday.isocalendar().week,
    }


def figure_of(week: Week) -> str:
    """`41 due, takes 40: 1 too many`."""
    if week.capacity is None:
        return _("%d due") % week.count
    told = {"due": week.count, "takes": week.capacity, "over": week.over}
    if week.over:
        return _("%(due)d due, takes %(takes)d: %(over)d too many") % told
    return _("%(due)d due, takes %(takes)d") % told


def headline(ahead: Ahead) -> str:
    """What somebody must know who reads one sentence."""
    waiting = sum(ahead.load.waiting.values())
    waits = ngettext("%d piece is due already.", "%d pieces are due already.", waiting) % waiting
    return f"{_of_weeks(ahead)} {waits}" if waiting else _of_weeks(ahead)


def _of_weeks(ahead: Ahead) -> str:
    count = sum(week.count for week in ahead.weeks)
    through = {"count": count, "day": wording.day(ahead.weeks[-1].sunday)}
    due = ngettext(
        "%(count)d piece falls due through %(day)s.", "%(count)d pieces fall due through %(day)s.", count
    )
    if all(week.capacity is None for week in ahead.weeks):
        return f"{due % through} {_('No capacity is stated.')}"
    if not ahead.over:
        return f"{due % through} {_('Each week fits what bench and labs take.')}"
    weeks = "; ".join(
        _("%(week)s: %(over)d too many") % {"week": week_name(week.monday), "over": week.over}
        for week in ahead.over
    )
    return f"{due % through} {_('More than bench and labs take: %s.') % weeks}"


def room_sentence(ahead: Ahead) -> str:
    """What the first week has room for of what waits already; empty where nothing waits or nothing is stated."""
    waiting, first = sum(ahead.load.waiting.values()), ahead.weeks[0]
    if not waiting or first.capacity is None:
        return ""
    room = max(0, first.capacity - first.count)
    return _(
        "This week has room for %(room)d pieces besides what falls due in it; %(waiting)d wait already."
    ) % {
        "room": room,
        "waiting": waiting,
    }


def short_sentence(week: Week) -> str:
    """For which kinds there is too little room; empty where everything fits or all kinds are short alike."""
    short = week.fit.short if week.fit else ()
    if not short or len(short) == sum(1 for count in week.due.values() if count):
        return ""
    return _("Too little room for: %s.") % ", ".join(kind_word(kind).lower() for kind in short)


def kinds_of(due: Mapping[str, int]) -> str:
    """`12 glove, 3 blanket`: the kinds with their counts, most first."""
    ordered = sorted(due.items(), key=lambda pair: (-pair[1], pair[0]))
    return ", ".join(f"{count} {kind_word(kind).lower()}" for kind, count in ordered if count)


# What stands on no line of the due list: word of planning.Load.not_listed and what it means.
def not_listed(ahead: Ahead) -> list[tuple[str, int]]:
    words = {
        "later": _("fall due later than these weeks"),
        "undated": _("have no clock that runs"),
        "away": _("are with a lab already"),
        "gone": _("are rejected, destroyed or lost"),
        "unreadable": _("have a record of which nothing can be said: see the overdue report"),
    }
    return [(words[word], ahead.load.not_listed.get(word, 0)) for word in words]


def weeks_of(counts: Mapping[date | None, int]) -> str:
    """`30 Nov: 3; 14 Dec: 2` for the weeks in which something falls due at a place."""
    dated = sorted((week, count) for week, count in counts.items() if week is not None)
    return "; ".join(f"{date_format(week, 'j M')}: {count}" for week, count in dated)


def week_key(day: date | None) -> str:
    """How a file names a week: 2026-W49, or `before` for what is due already."""
    monday = week_of(day)
    if monday is None:
        return "before"
    year, number, _day = monday.isocalendar()
    return f"{year}-W{number:02d}"
