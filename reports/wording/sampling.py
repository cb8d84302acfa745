"""Audit samples in words: what was drawn from what and how, what it proves, and what it does not."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from reports.rules.sampling import Bounds, Drawn, Stratum, bounds, most_by_strata


def algorithm() -> str:
    """How the pieces are drawn, so that anybody can draw them again."""
    return _(
        "Write the start number, a colon and the item number as one line of UTF-8 text, like 40711:G-00123, and take"
        " its SHA-256 as hexadecimal digits. Sort all pieces of a part by that text and take the first ones."
    )


def moment(at: Any) -> str:
    """`14 SEP 2026, 05:40:12`: to the second, for a draw is worked out for a moment."""
    local = localtime(at)
    return f"{wording.day(local.date())}, {date_format(local, 'H:i:s')}"


def percent(part: int, whole: int) -> str:
    """`2.7 %`, rounded up: a bound is never told smaller than it is. Nothing where there is no whole."""
    if not whole:
        return ""
    tenths = -(-part * 1000 // whole)
    return f"{tenths // 10}.{tenths % 10} %"


def sure(confidence: Fraction) -> str:
    return f"{int(confidence * 100)} %"


def counted(conditions: Mapping[str, int], *, destroyed: int, visitors: int) -> list[str]:
    """What the population holds and what it leaves out."""
    total = sum(conditions.values())
    lost = conditions.get("lost", 0)
    told = [ngettext("%d piece can be drawn.", "%d pieces can be drawn.", total) % total]
    told.append(
        ngettext(
            "%d of them is reported lost and counts: a list gets no better by what is missing from it.",
            "%d of them are reported lost and count: a list gets no better by what is missing from it.",
            lost,
        )
        % lost
        if lost
        else _("None of them is reported lost; lost pieces would count.")
    )
    aside = {"destroyed": destroyed, "visitors": visitors}
    told.append(_("Left out: %(destroyed)d destroyed, %(visitors)d of visitors.") % aside)
    return told


def size_sentence(*, population: int, bad: int, size: int, confidence: Fraction, chosen: bool) -> str:
    """Why the sample has the size that it has."""
    told = {"size": size, "population": population, "bad": bad, "sure": sure(confidence)}
    if chosen:
        return _("%(size)d of %(population)d, as was asked for.") % told
    return (
        ngettext(
            "If %(bad)d of the %(population)d were bad, %(size)d drawn at random hold it with a confidence of"
            " %(sure)s.",
            "If %(bad)d of the %(population)d were bad, %(size)d drawn at random hold at least one of them with a"
            " confidence of %(sure)s.",
            bad,
        )
        % told
    )


def proves(
    drawn: Drawn, found: Sequence[int], confidence: Fraction, *, name: Callable[[str], str] = str
) -> list[str]:
    """What finding so many bad pieces in each stratum says of all of them; `name` puts a stratum into words."""
    sentences = []
    several = len(drawn.strata) > 1
    for one, bad in zip(drawn.strata, found, strict=True):
        limit = bounds(population=one.population, size=one.size, found=bad, confidence=confidence)
        sentences.append((f"{name(one.name)}: " if several else "") + _one(one, bad, limit, confidence))
    if several:
        sentences.append(_together(drawn, found, confidence))
    return sentences


def _one(one: Stratum, bad: int, limit: Bounds, confidence: Fraction) -> str:
    told = {
        "size": one.size,
        "population": one.population,
        "bad": bad,
        "least": limit.least,
        "most": limit.most,
        "part": percent(limit.most, one.population),
        "sure": sure(confidence),
    }
    if one.size == one.population:
        return _("All %(population)d were looked at; %(bad)d were bad. Nothing was left to chance.") % told
    if bad == 0:
        return (
            _(
                "None of the %(size)d drawn was bad. With a confidence of %(sure)s at most %(most)d of the"
                " %(population)d are (%(part)s)."
            )
            % told
        )
    return (
        ngettext("%(bad)d of the %(size)d drawn was bad.", "%(bad)d of the %(size)d drawn were bad.", bad)
        + " "
        + _(
            "With a confidence of %(sure)s at least %(least)d and at most %(most)d of the %(population)d are"
            " (up to %(part)s)."
        )
    ) % told


def _together(drawn: Drawn, found: Sequence[int], confidence: Fraction) -> str:
    names = [one.name for one in drawn.strata]
    most = most_by_strata(drawn.strata, dict(zip(names, found, strict=True)), confidence)
    told = {
        "most": most,
        "population": drawn.population,
        "part": percent(most, drawn.population),
        "sure": sure(confidence),
    }
    return (
        _(
            "All together: with a confidence of %(sure)s at most %(most)d of the %(population)d are bad (%(part)s)."
        )
        % told
    )


def proves_not(drawn: Drawn, found: Sequence[int]) -> list[str]:
    """What even a spotless sample leaves open."""
    size = sum(one.size for one in drawn.strata)
    told = {"population": drawn.population, "rest": drawn.population - size}
    sentences = [
        _(
            "It speaks of the %(population)d pieces on record at that moment. What was never entered could not be"
            " drawn."
        )
        % told,
        _(
            "Of the %(rest)d that were not drawn it says nothing one by one: which of them are bad, nobody knows."
        )
        % told,
        _(
            "It holds only if every piece that was drawn was looked at. One that was not found counts as bad; another"
            " one in its place is no sample any more."
        ),
        _("It holds for one draw. Whoever draws again until a sample pleases has proven nothing."),
    ]
    if len(drawn.strata) > 1:
        sentences.append(
            _(
                "Each part was drawn for itself: what one part shows says nothing of another. The bound for all"
                " together is the worst spread of bad pieces over the parts that would still have stayed hidden."
            )
            if not any(found)
            else _(
                "Each part was drawn for itself: what one part shows says nothing of another. The bound for all"
                " together adds up bounds of the parts that share the doubt (Bonferroni)."
            )
        )
    return sentences
