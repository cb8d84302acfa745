"""Samples that results are entered for: which there are, and what was found of each piece so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Count
from django.utils import timezone

from gear import queries
from gear.queries import Question
from gear.queries.questions import question
from gear.rules import moments
from reports.models import AuditResult, AuditSample
from reports.queries.sampling import Expected
from reports.rules.sampling import Drawn, Member, Stratum

PAGE = 25


@dataclass(frozen=True)
class Listed:
    """A sample and of how many of its pieces something was entered."""

    sample: AuditSample
    entered: int


def samples(before: int) -> tuple[list[Listed], int | None]:
    """(samples, newest first, after the first `before` of them, how many come before the next page or None)."""
    rows = AuditSample.objects.select_related("by").annotate(entered=Count("results__item", distinct=True))
    found = list(rows.order_by("-at", "pk")[before : before + PAGE + 1])
    more = before + PAGE if len(found) > PAGE else None
    return [Listed(one, one.entered) for one in found[:PAGE]], more


def results(sample: AuditSample) -> Mapping[str, AuditResult]:
    """What counts of each piece, by item number: the newest entry. One query."""
    rows = sample.results.select_related("item", "by").order_by("at", "pk")
    return {one.item.item_no: one for one in rows}


def drawn_of(sample: AuditSample) -> Drawn:
    """The draw as it was kept."""
    pieces = tuple(Member(item_no, stratum) for stratum, item_no in sample.drawn)
    return Drawn(pieces, tuple(Stratum(*part) for part in sample.parts))


def bad_by_part(drawn: Drawn, entered: Mapping[str, AuditResult]) -> list[int]:
    """How many pieces of each stratum were not as recorded."""
    bad = dict.fromkeys((one.name for one in drawn.strata), 0)
    for one in drawn.pieces:
        if one.item_no in entered and entered[one.item_no].found != "as_recorded":
            bad[one.stratum] += 1
    return list(bad.values())


def as_drawn(sample: AuditSample) -> list[Expected]:
    """The pieces as the record had them at the moment of the draw, whatever happened since."""
    day = moments.local_day(sample.as_of, timezone.get_default_timezone())
    asked: Question = question(day, known_at=sample.as_of)
    stratum = {item_no: name for name, item_no in sample.drawn}
    return [
        Expected(
            one.answer.item_no,
            stratum[one.answer.item_no],
            one.facts.identity,
            one.facts.holder or {},
            "unknown" if one.facts.unreadable else one.facts.condition,
            one.facts.label or "",
            one.answer.verdict,
            one.answer.good_through,
        )
        for one in queries.seen_many([item_no for _name, item_no in sample.drawn], asked)
        if one.facts is not None
    ]
