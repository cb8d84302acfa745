"""What a phone is told of each item: who has it, what it is rated for, and its answers of today and tomorrow."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from gear import wording
from gear.queries import described
from gear.queries.over_days import OverDays, over_days
from gear.queries.questions import Question
from gear.queries.ratings import Rating
from gear.rules.packs import Figure
from gear.rules.readiness import Answer, Reason
from gear.views.reasons import notes_of, said_once

Row = dict[str, Any]


def rows_of(item_nos: Sequence[str], days: Sequence[Question]) -> list[Row]:
    """A row for each item that is in the book, in the order asked, with a number of queries that does not grow.

    `days` are questions of whole days, the first one today's; every row holds an answer for each.
    """
    tell = _teller()
    return [_row(one, tell) for one in over_days(item_nos, days)]


def _teller() -> Callable[[Answer], Row]:
    """`told`, which makes the words of equal answers once: both days of most pieces, and of many pieces, read alike."""
    made: dict[tuple[Any, ...], Row] = {}

    def tell(answer: Answer) -> Row:
        key = (
            answer.verdict,
            answer.good_through,
            answer.set_good_through,
            repr((answer.reasons, answer.notes)),
        )
        if key not in made:
            made[key] = told(answer)
        return made[key]

    return tell


def told(answer: Answer) -> Row:
    """An answer in the language asked for: its words, each reason with whom to see, the notes, and its last day."""
    return {
        "verdict": answer.verdict,
        "words": wording.verdict(answer),
        "reasons": [_reason(one) for one in said_once(answer.reasons)],
        "notes": [{"code": one.code, "sentence": wording.sentence(one)} for one in notes_of(answer)],
        "last_day": _iso(last_day(answer)),
    }


def last_day(answer: Answer) -> date | None:
    """The earlier of an item's own and its set's last good day."""
    stated = [one for one in (answer.good_through, answer.set_good_through) if one]
    return min(stated) if stated else None


def _reason(reason: Reason) -> dict[str, str]:
    return {
        "code": reason.code,
        "sentence": wording.sentence(reason),
        "who": wording.who_to_see(reason),
        "source": reason.source,
    }


def _row(one: OverDays, tell: Callable[[Answer], Row]) -> Row:
    facts, today = one.facts, one.answers[0]
    identity = facts.identity
    return {
        "no": facts.item_no,
        "code": facts.label or "",
        "old_codes": list(one.old_codes),
        "serial": str(identity.get("serial") or ""),
        "kind": facts.kind,
        "class": facts.cls,
        "hand": identity.get("hand"),
        "size": described.size_word(identity),
        "heading": described.heading(identity),
        "markings": [list(pair) for pair in described.markings(identity)],
        "holder": facts.holder,
        "set_no": facts.set_no,
        "members": sorted([facts.item_no, *one.mates]) if facts.set_no else [],
        "rating": _rating(one.rating, facts.kind) if one.reliable else None,
        "answers": [tell(answer) for answer in one.answers],
        "old_code_answers": [tell(answer) for answer in one.old_code_answers],
        "checked_answers": [tell(answer) if answer else None for answer in one.checked_answers],
        "other": _other(one),
        "good_through": _iso(today.good_through) if one.reliable else None,
        "set_good_through": _iso(today.set_good_through) if one.reliable else None,
        "last_day": _iso(last_day(today)) if one.reliable else None,
        "checked_on": _iso(facts.checked_on),
    }


def _other(one: OverDays) -> Row | None:
    """What is said to whoever is not the person that has it, and on which of the days that stops them."""
    holder = one.facts.holder
    if not holder or holder["kind"] != "person":
        return None
    reason = Reason("OTHER_HOLDER", one.other_source, {"holder": holder["name"]})
    return {**_reason(reason), "stops": list(one.other_stops)}


def _rating(rating: Rating | None, kind: str | None) -> Row | None:
    """The rating in a few lines, each figure with its unit, and where the first of them is from."""
    if rating is None:
        return None
    if kind == "grounding_jumper":
        return _grounding(rating)
    if rating.max_use is None or rating.max_use.value is None:
        return None
    lines = [str(wording.use_note(kind))]
    if rating.to_ground is not None:
        lines.append(_("%s phase to ground.") % described.volts(rating.to_ground))
    return _rated(_("MAX USE"), described.volts(rating.max_use), lines, rating.max_use)


def _grounding(rating: Rating) -> Row | None:
    decides = rating.set_grade or rating.grade
    if decides is None or decides.grade is None or not rating.withstand_ka:
        return None
    lines = [
        _("%(ka)s kA for %(cycles)s cycles of 60 Hz") % {"ka": figure.value, "cycles": cycles}
        for cycles, figure in rating.withstand_ka
    ]
    return _rated(_("GRADE"), str(decides.grade), lines, rating.withstand_ka[0][1])


def _rated(title: str, value: str, lines: list[str], figure: Figure) -> Row:
    return {"title": title, "value": value, "lines": lines, "source": figure.source}


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None
