"""Everything that page and print show of the overdue report, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from gear.queries.whereabouts import Phone
from reports.rules.overdue import CrewGroup, Line, OverdueReport, by_crew
from reports.wording import loop, sentences
from reports.wording.rows import Row, row


@dataclass(frozen=True)
class Caps:
    """How many lines of each list are shown at most; None is all of them. Counts are whole all the same."""

    usable_now: int | None = None
    due_soon: int | None = None
    off_the_road: int | None = None


@dataclass(frozen=True)
class Crew:
    """The phone list of one crew."""

    title: str
    phone: Phone
    rows: tuple[Row, ...]
    name: str = ""


@dataclass(frozen=True)
class Step:
    """What falls due within some days: how many items there are, and the rows that are shown."""

    title: str
    count: int
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Visitors:
    """The gear of others, apart from ours: what is not good in their hands by owner, and one line that counts all."""

    count: int
    owners: tuple[tuple[str, tuple[Row, ...]], ...]
    cut: str
    sentence: str


@dataclass(frozen=True)
class Told:
    """Everything that page and print show. `cut` says of a list what was left out, or nothing."""

    report: OverdueReport
    title: str
    as_of: str
    made: str
    rule_pack: str
    seal: str
    scope: str
    no_permit: str
    headline: str
    figures: tuple[sentences.Figure, ...]
    crews: tuple[Crew, ...]
    unplaced: tuple[Row, ...]
    due: tuple[Step, ...]
    off_the_road: tuple[Row, ...]
    cut: Mapping[str, str]
    totals: tuple[tuple[str, int], ...]
    method: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]
    visitors: Visitors | None = None
    carried: str = ""
    also: tuple[str, ...] = ()


def tell(report: OverdueReport, *, phones: Mapping[str, Phone], caps: Caps) -> Told:
    """The report in words, its lists cut to `caps`. `phones` are by name of crew."""
    heading = report.heading
    return Told(
        report=report,
        title=str(sentences.TITLE),
        as_of=sentences.as_of(heading),
        made=sentences.made(heading),
        rule_pack=sentences.rule_pack(heading),
        seal=sentences.seal(heading.seal),
        scope=sentences.scope(heading.scope),
        no_permit=str(sentences.NO_PERMIT),
        headline=sentences.headline(report),
        figures=sentences.figures(report),
        crews=tuple(
            _crew(group, phones, heading.as_of) for group in by_crew(report.usable_now[: caps.usable_now])
        ),
        unplaced=_rows(report.unplaced[: caps.usable_now]),
        due=_steps(report, caps.due_soon),
        off_the_road=_rows(report.off_the_road[: caps.off_the_road]),
        cut={
            "usable_now": _cut(caps.usable_now, len(report.usable_now)),
            "unplaced": _cut(caps.usable_now, len(report.unplaced)),
            "due_soon": _cut(caps.due_soon, len(report.due_soon)),
            "off_the_road": _cut(caps.off_the_road, len(report.off_the_road)),
        },
        totals=sentences.totals(report),
        method=sentences.method(report),
        sources=sentences.sources(report),
        visitors=_visitors(report.visitors, caps.usable_now) if report.visitors else None,
        carried=loop.carried_over(report),
        also=sentences.also(report),
    )


def _visitors(report: OverdueReport, cap: int | None) -> Visitors:
    by_owner: dict[str, list[Row]] = {}
    for line in (*report.usable_now, *report.unplaced)[:cap]:
        by_owner.setdefault(line.owner or "", []).append(row(line))
    count = len(report.usable_now) + len(report.unplaced)
    return Visitors(
        count,
        tuple((owner, tuple(rows)) for owner, rows in sorted(by_owner.items())),
        _cut(cap, count),
        sentences.visitors(report),
    )


def _rows(lines: Iterable[Line]) -> tuple[Row, ...]:
    return tuple(map(row, lines))


def _crew(group: CrewGroup, phones: Mapping[str, Phone], as_of: date) -> Crew:
    title = group.crew or _("No crew on record")
    return Crew(
        f"{title}, {group.depot}" if group.depot else title,
        phones.get(group.crew or "", Phone()),
        tuple(row(line, placed=False, as_of=as_of) for holder in group.holders for line in holder.lines),
        group.crew or "",
    )


def _steps(report: OverdueReport, cap: int | None) -> tuple[Step, ...]:
    room = len(report.due_soon) if cap is None else cap
    steps = []
    for last, lines in report.due_by_step:
        steps.append(Step(_("Due within %d days") % last, len(lines), _rows(lines[:room])))
        room -= len(steps[-1].rows)
    return tuple(steps)


def _cut(cap: int | None, count: int) -> str:
    if cap is None or count <= cap:
        return ""
    return _("Only the first %(shown)d of %(count)d lines are shown here. The CSV file has all of them.") % {
        "shown": cap,
        "count": count,
    }
