"""The page of one item: its answer, what it is, where it is, its clocks, its set, its tests and its whole record."""

from __future__ import annotations

from typing import Any, cast
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from gear import labels, permissions, queries, wording
from gear.models import CONDITION_NAMES, HOLDER_NAMES, SET_KINDS, Item, User
from gear.queries import Question, Seen, described, history
from gear.queries.photos import by_entry
from gear.rules import codes
from gear.rules.clocks import Clock
from gear.rules.fold import ItemFacts
from gear.rules.readiness import Answer
from gear.views.acts import acts_for
from gear.views.addresses import address_of
from gear.views.evidence import record_address
from gear.views.instead import instead_of, wants_another
from gear.views.moments import moment
from gear.views.reasons import notes_of, said_once


def item(request: HttpRequest, item_no: str) -> HttpResponse:
    """The record of an item, with its answer as of now or as of the day or moment asked for.

    A day or moment that cannot be read gives status 400 and no verdict: today's would be taken for the one asked for.
    """
    person = cast(User, request.user)
    if not Item.objects.filter(item_no=item_no).exists():
        raise Http404(_("There is no item %s in the book.") % item_no)
    asking = {name: request.GET.get(name, "").strip() for name in ("as_of", "known_at")}
    try:
        asked, problem = queries.question_in(asking["as_of"], known_at=asking["known_at"]), None
    except queries.BadQuestion as error:
        asked, problem = queries.question(), error
    seen = queries.seen(item_no, asked)
    page: dict[str, Any] = {
        "title": item_no,
        "asking": asking,
        "problem": problem,
        "in_the_past": any(asking.values()),
    }
    page |= _page(seen, asked, person)
    if not any(asking.values()) and seen.facts is not None and seen.facts.usable and wants_another(seen):
        page |= {"instead": True, "offers": instead_of(seen, asked)}
    return render(request, "gear/item.html", page, status=400 if problem else 200)


def _page(seen: Seen, asked: Question, person: User) -> dict[str, Any]:
    answer = seen.answer
    page: dict[str, Any] = {
        "answer": answer,
        "words": wording.verdict(answer),
        "reasons": [
            {"sentence": wording.sentence(one), "who": wording.who_to_see(one), "source": one.source}
            for one in said_once(answer.reasons)
        ],
        "notes": [wording.sentence(one) for one in notes_of(answer)],
        "as_of_words": _as_of(asked),
        "clocks": [_clock(place, one, answer) for place, one in enumerate(answer.clocks) if seen.reliable],
        "reliable": seen.reliable,
    }
    if seen.item is None or seen.facts is None:
        return page
    facts, rating = seen.facts, seen.rating if seen.reliable else None
    taken = by_entry([seen.item], to=person, depot=permissions.bound_to(person))
    record = history.record_of(seen.item, facts.identity, photos=taken)
    page |= {
        "item": seen.item,
        "heading": described.heading(facts.identity),
        "markings": described.markings(facts.identity),
        "more": _more(facts),
        "rating": rating,
        "use_note": wording.use_note(facts.kind),
        "max_use": described.volts(rating.max_use) if rating else "",
        "to_ground": described.volts(rating.to_ground) if rating else "",
        "place": _place(facts),
        "set": _set(seen),
        "record": record,
        "has_drawing": record.has_drawing,
        "has_photos": bool(taken),
        "label_code": codes.grouped(facts.label) if facts.label else "",
        "label_address": address_of("label", facts.item_no) if labels.may_have_label(facts) else "",
        "answer_address": address_of("answer", facts.label) if facts.label else "",
        "acts": acts_for(person, facts),
        "tag_address": _tag_address(person, facts),
        "record_address": record_address(facts.item_no) if person.role in permissions.OFFICE else "",
        "may_correct": permissions.can(person, "correct")
        and bool(address_of("correct", record.entries[0].entry.id)),
    }
    return page


def _tag_address(person: User, facts: ItemFacts) -> str:
    """Where the red tag of a rejected piece is printed, for whoever may."""
    address = address_of("red_tags") if facts.condition == "rejected" else ""
    return (
        f"{address}?{urlencode({'item': facts.item_no})}"
        if address and person.role in permissions.OFFICE
        else ""
    )


def _as_of(asked: Question) -> str:
    """What the verdict is about, in words: the day or moment, and what was known then."""
    day = wording.day(asked.as_of)
    told = _("the end of %s") % day if asked.whole_day else moment(asked.as_of_at)
    if asked.known_at is None:
        return told
    return _("%(as_of)s, as known on %(known)s") % {"as_of": told, "known": moment(asked.known_at)}


def _clock(place: int, clock: Clock, answer: Answer) -> dict[str, Any]:
    return {
        "words": wording.clock(clock.name),
        "day": wording.day(clock.good_through),
        "source": clock.source,
        "is_over": clock.good_through < answer.as_of,
        "role": _("decides") if place == 0 else _("next") if place == 1 else "",
    }


def _more(facts: ItemFacts) -> list[tuple[str, str]]:
    """What the book knows of the item beyond its markings."""
    rows = (
        (_("Lot"), facts.identity.get("lot")),
        (_("Made on"), facts.identity.get("made_on")),
        (_("Marked expiry"), facts.identity.get("marked_expiry_on")),
        (_("Rated"), _("%s kV") % facts.identity["rated_kv"] if facts.identity.get("rated_kv") else ""),
        (_("Received"), wording.day(facts.received_on) if facts.received_on else ""),
        (_("First issued"), _first_issue(facts)),
        (_("Last accepted test"), wording.day(facts.accepted.on) if facts.accepted else _("none")),
    )
    return [(name, str(value)) for name, value in rows if value]


def _first_issue(facts: ItemFacts) -> str:
    if not facts.issued or facts.first_issued_on is None:
        return _("never issued")
    return wording.day(facts.first_issued_on) if facts.first_issue_known else _("not known")


def _place(facts: ItemFacts) -> dict[str, Any]:
    holder = facts.holder or {}
    return {
        "condition": CONDITION_NAMES[facts.condition],
        "kind": HOLDER_NAMES.get(holder.get("kind", ""), ""),
        "name": holder.get("name", ""),
        "crew": holder.get("crew") or "",
        "depot": holder.get("depot") or "",
        "since": wording.day(facts.holder_since) if facts.holder_since else "",
        "usable": facts.usable,
    }


def _set(seen: Seen) -> dict[str, Any] | None:
    """The set of the item with the other pieces and their answers."""
    facts = seen.facts
    if facts is None or facts.set_no is None:
        return None
    day = seen.answer.set_good_through if seen.reliable else None
    return {
        "set_no": facts.set_no,
        "kind": SET_KINDS[seen.gear_set.kind] if seen.gear_set else _("Set"),
        "required": seen.gear_set.required if seen.gear_set else None,
        "count": len(seen.mates) + 1,
        "good_through": wording.day(day) if day else "",
        "mates": [
            {
                "item_no": mate.item_no,
                "heading": described.heading(mate.identity),
                "verdict": told.verdict,
                "words": wording.verdict(told),
                "why": ", ".join(wording.short(reason) for reason in told.reasons),
            }
            for told, mate in seen.mates
        ],
    }
