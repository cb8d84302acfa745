"""Damage patterns: the drawing of a kind with how much was found at each place, and the entries behind each count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from gear.forms.patterns import PatternForm
from gear.queries import look_words, patterns
from gear.queries.look_words import Drawn
from gear.queries.patterns import Found
from gear.rules import places_on
from gear.rules.patterns import ENOUGH, Counted, Spot, counted, shade, share

LISTED = 200  # entries behind one count


def damage_patterns(request: HttpRequest) -> HttpResponse:
    """Asks for a kind; with one, its drawings, the table of counts, and the entries behind the count that is chosen."""
    form = PatternForm(request.GET if "kind" in request.GET else None)
    page: dict[str, Any] = {"title": _("Damage patterns"), "form": form}
    if not form.is_bound or not form.is_valid():
        return render(request, "gear/patterns.html", page, status=400 if form.is_bound else 200)
    wanted = form.wanted()
    found = patterns.found(wanted)
    spots = counted(wanted.kind, [one.finding for one in found])
    asked = {name: request.GET[name] for name in form.fields if request.GET.get(name)}
    page |= {
        "known": patterns.known_of(wanted.kind),
        "count": len(found),
        "enough": ENOUGH if len(found) < ENOUGH else 0,
        "drawings": _drawings(wanted.kind, spots),
        "rows": [_row(one, len(found), asked) for one in spots],
        "behind": _behind(request.GET, found, spots),
        "is_handed": wanted.kind in ("glove", "protector"),
    }
    return render(request, "gear/patterns.html", page)


def _drawings(kind: str, spots: Sequence[Counted]) -> list[dict[str, Any]]:
    """One drawing for each side of a kind that has sides, and one for what names none where there is any."""
    sides = [*places_on.sides_of(kind), ""]
    most = max((one.count for one in spots if one.spot.part), default=0)
    drawn = []
    for side in sides:
        at = {one.spot.part: one.count for one in spots if one.spot.part and one.spot.side == side}
        if at or side or len(sides) == 1:
            heading = _side_word(side) if len(sides) > 1 else ""
            drawn.append({"heading": heading, "drawing": _figured(kind, at, most, heading)})
    return drawn


def _figured(kind: str, at: Mapping[str, int], most: int, heading: str) -> Drawn | None:
    """The drawing of a kind with a count in the place of each number."""
    plain = look_words.drawn(kind)
    if plain is None:
        return None
    parts = [
        replace(part, figure=at.get(part.code, 0), shade=shade(at.get(part.code, 0), most))
        for part in plain.parts
    ]
    told = ", ".join(f"{part.word} {part.figure}" for part in parts)
    return replace(plain, parts=parts, label=f"{heading}: {told}" if heading else told)


def _side_word(side: str) -> str:
    return str(look_words.SIDES[side]) if side else _("side not said")


def _place_word(spot: Spot, kind_has_sides: bool) -> str:
    if not spot.part:
        return _("no place said")
    part = str(look_words.PARTS[spot.part])
    told = {"part": part, "side": _side_word(spot.side)}
    return _("%(part)s (%(side)s)") % told if kind_has_sides else part


def _row(one: Counted, total: int, asked: Mapping[str, str]) -> dict[str, Any]:
    """One place with its count, its share where there are enough, and each word with its count."""
    at = {**asked, "part": one.spot.part, "side": one.spot.side}
    told = share(one.count, total)
    return {
        "place": _place_word(one.spot, bool(places_on.sides_of(asked["kind"]))),
        "count": one.count,
        "share": _("%(share).0f %% (%(low).0f to %(high).0f)")
        % dict(zip(("share", "low", "high"), told, strict=True))
        if told
        else "",
        "query": urlencode(at),
        "words": [
            {"word": _damage(word), "count": len(entries), "query": urlencode({**at, "word": word})}
            for word, entries in one.words
        ],
    }


def _damage(word: str) -> str:
    return str(wording.DAMAGE.get(word, word)) if word else _("no word said")


def _behind(
    asked: Mapping[str, str], found: Sequence[Found], spots: Sequence[Counted]
) -> dict[str, Any] | None:
    """The entries behind the count that was chosen; None where none was, or where it counts nothing."""
    if "part" not in asked:
        return None
    spot, word = Spot(asked["part"], asked.get("side", "")), asked.get("word")
    one = next((one for one in spots if one.spot == spot), None)
    entries = one.entries if one and word is None else dict(one.words).get(word or "", ()) if one else ()
    chosen = [each for each in found if each.finding.entry in set(entries)]
    if one is None or not chosen:
        return None
    place = _place_word(spot, bool(places_on.sides_of(asked["kind"])))
    pieces = ngettext("%d finding", "%d findings", len(chosen)) % len(chosen)
    return {
        "heading": f"{place}{'' if word is None else f', {_damage(word)}'}: {pieces}",
        "rows": [
            {
                "item_no": each.finding.item_no,
                "entry": each.finding.entry,
                "on": wording.day(each.on),
                "words": ", ".join(map(_damage, each.finding.words)) or _damage(""),
            }
            for each in chosen[:LISTED]
        ],
        "more": max(0, len(chosen) - LISTED),
    }
