"""What is said of the overdue report as a whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from gear import wording
from gear.models import CONDITION_NAMES
from gear.rules import moments
from reports.rules.overdue import NOT_READ, Heading, Line, OverdueReport, Scope, SealMark
from reports.wording import loop

TITLE = gettext_lazy("Overdue report")
NO_PERMIT = gettext_lazy("A record, not a permit: it was true when it was made. Ask again before each use.")


@dataclass(frozen=True)
class Figure:
    """One of the big counts; `compared` tells that of a week before, `code` names it."""

    code: str
    count: int
    caption: str
    detail: str
    compared: str = ""


def headline(report: OverdueReport) -> str:
    """The one sentence that a supervisor reads first. It never says less than is known, nor more."""
    counts, scope = report.counts, report.heading.scope
    if scope.kind != "book" and not scope.name:
        return _("Nothing is shown, so nothing is said of any item.")
    if counts.oldest_days_over is not None:
        first = ngettext(
            "%d item is overdue in someone's hands.",
            "%d items are overdue in people's hands.",
            counts.overdue,
        )
        oldest = ngettext("The oldest: %d day over.", "The oldest: %d days over.", counts.oldest_days_over)
        return f"{first % counts.overdue} {oldest % counts.oldest_days_over}"
    if in_doubt := counts.unknown_in_hands + len(report.unplaced):
        unknown = ngettext(
            "No item in anyone's hands is known to be overdue, but of %d item nothing can be said.",
            "No item in anyone's hands is known to be overdue, but of %d items nothing can be said.",
            in_doubt,
        )
        return unknown % in_doubt
    return _("0 items are overdue in anyone's hands.")


def figures(report: OverdueReport) -> tuple[Figure, ...]:
    """The big counts of page one: two of the lines on it and, where they were asked for, two of what is missing."""
    counts, beside = report.counts, report.loop
    found = [
        Figure(
            "overdue",
            counts.overdue,
            _("overdue in hands"),
            _("Past the last good day, with a person, truck, crew or contractor."),
            loop.compared(beside.overdue) if beside else "",
        ),
        Figure(
            "blocked",
            counts.blocked + counts.unknown_in_hands,
            _("damaged, held or can't say, in hands"),
            _("In hands and damaged, held, lost, untested, or of which nothing can be said."),
            loop.compared(beside.blocked) if beside else "",
        ),
    ]
    if beside:
        found += [
            Figure(
                "missing",
                beside.missing.now,
                _("missing from the last walk"),
                _("On record on a truck, and not seen when somebody last walked round it."),
                loop.compared(beside.missing),
            ),
            Figure(
                "old_pairs",
                beside.old_pairs.now,
                _("old pairs not returned"),
                _("Replaced at the counter, and still with the same person."),
                loop.compared(beside.old_pairs),
            ),
        ]
    return tuple(found)


def also(report: OverdueReport) -> tuple[str, ...]:
    """Counts over everything, wherever it is: what is lost and of what nothing can be said is never left out."""
    counts = report.counts
    told = []
    if counts.lost:
        words = ngettext(
            "%d item is reported lost. It stays counted with whoever had it last.",
            "%d items are reported lost. They stay counted with whoever had them last.",
            counts.lost,
        )
        told.append(words % counts.lost)
    if counts.unknown:
        words = ngettext(
            "Of %d item, wherever it is, nothing can be said. Treat it as stopped.",
            "Of %d items, wherever they are, nothing can be said. Treat them as stopped.",
            counts.unknown,
        )
        told.append(words % counts.unknown)
    return tuple(told)


def as_of(heading: Heading) -> str:
    """14 SEP 2026, end of day: the moment up to which events count, in the site's zone."""
    zone = ZoneInfo(heading.zone)
    day = wording.day(heading.as_of)
    if heading.as_of_at == moments.end_of_day(heading.as_of, zone):
        told = _("%s, end of day") % day
    else:
        told = f"{day}, {date_format(heading.as_of_at.astimezone(zone), 'H:i')}"
    if heading.known_at is None:
        return told
    known = heading.known_at.astimezone(zone)
    return _("%(as_of)s, as known %(day)s, %(time)s") % {
        "as_of": told,
        "day": wording.day(known.date()),
        "time": date_format(known, "H:i"),
    }


def rule_pack(heading: Heading) -> str:
    return heading.rule_pack or _("none: the rules cannot be read, so nothing can be said of any item")


def made(heading: Heading) -> str:
    moment = heading.made_at.astimezone(ZoneInfo(heading.zone))
    return f"{wording.day(moment.date())}, {date_format(moment, 'H:i')}"


def seal(mark: SealMark | None) -> str:
    """Enough of the last seal to hold this copy against the record: number, rows covered, start of the root."""
    if mark is None:
        return _("no seal yet")
    return _("%(number)d over %(rows)d rows, root %(root)s") % {
        "number": mark.number,
        "rows": mark.row_count,
        "root": mark.merkle_root[:16],
    }


def scope(one: Scope) -> str:
    """Whose gear this is, and what is therefore not in it."""
    if one.kind == "book":
        return _("The whole book.")
    if not one.name:
        return _("You belong to no crew, so there is no gear to show. Ask the supervisor to put you in one.")
    if one.kind == "crew":
        return (
            _("Only gear held by %s. The gear of other crews is neither listed nor counted here.") % one.name
        )
    return (
        _(
            "Only gear held in %s. Other depots, and gear with no depot on record, are neither listed nor counted here."
        )
        % one.name
    )


def totals(report: OverdueReport) -> tuple[tuple[str, int], ...]:
    """(condition in words, how many), without the sum."""
    names = {**CONDITION_NAMES, NOT_READ: _("Record cannot be read")}
    return tuple(
        (str(names.get(name, name)), count)
        for name, count in report.totals.items()
        if name != "items_in_book"
    )


def method(report: OverdueReport) -> tuple[str, ...]:
    """How this was counted."""
    counts = report.counts
    return (
        _("In hands means held by a person, a truck, a crew cage or a contractor."),
        _(
            "%(usable)d not good in hands = %(overdue)d overdue + %(blocked)d stopped for another reason"
            " + %(unknown)d without an answer."
        )
        % {
            "usable": len(report.usable_now),
            "overdue": counts.overdue,
            "blocked": counts.blocked,
            "unknown": counts.unknown_in_hands,
        },
        _(
            "%(all)d items = %(good)d good + %(usable)d not good in hands + %(off)d not good elsewhere"
            " + %(gone)d destroyed and in nobody's hands."
        )
        % {
            "all": report.totals["items_in_book"],
            "good": report.good,
            "usable": len(report.usable_now),
            "off": len(report.off_the_road),
            "gone": report.gone,
        },
        _("A lost item stays with its last holder and stays counted: losing it makes no figure better."),
    )


def sources(report: OverdueReport) -> tuple[tuple[str, str], ...]:
    """(reason in two or three words, source) of everything that stopped an item of this report."""
    lines: Sequence[Line] = (*report.usable_now, *report.off_the_road)
    found = {(one.rank, wording.short(one), one.source) for line in lines for one in line.reasons}
    return tuple((name, source) for _rank, name, source in sorted(found))


def visitors(report: OverdueReport) -> str:
    """What there is of visitors' gear, in one line; none of it is in any figure of ours."""
    return _(
        "%(all)d pieces of visitors were taken in: %(good)d good, %(usable)d not good in their hands, %(off)d not good "
        "elsewhere, %(gone)d gone home or destroyed. None of them is in the figures of our own gear."
    ) % {
        "all": report.totals["items_in_book"],
        "good": report.good,
        "usable": len(report.usable_now),
        "off": len(report.off_the_road),
        "gone": report.gone,
    }
