"""The record of a piece as of a moment in words, the same for the page and the paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from gear import wording
from gear.models import CONDITION_NAMES, HOLDER_NAMES, Depot, GivenAnswer, Refusal, User
from gear.queries import Seen, described
from gear.queries.history import Told
from gear.rules import codes
from gear.rules.readiness import Rules
from gear.views.moments import moment
from reports.queries.dossier import Dossier, told_at

# part of the paper: the kinds of entries in it; what is in none is among the notes
PARTS = {
    "custody": frozenset(
        {
            "received",
            "issued",
            "moved",
            "returned",
            "handed_back",
            "sent_for_test",
            "sent_for_repair",
            "lost",
            "found",
        }
    ),
    "looks": frozenset({"inspected"}),
    "events": frozenset({"event", "rejected", "destroyed", "needs_cleaning"}),
    "holds": frozenset({"held", "released"}),
    "tests": frozenset({"tested"}),
}
TITLES = {
    "custody": lambda: _("Custody: from hand to hand"),
    "looks": lambda: _("Looked at"),
    "events": lambda: _("Events and repair"),
    "holds": lambda: _("Holds"),
    "other": lambda: _("Sets, labels and notes"),
}


@dataclass(frozen=True)
class Side:
    """One of the two views: as known now, or as known then."""

    title: str
    verdict: str
    words: str
    reasons: Sequence[str]
    rows: Sequence[tuple[str, str]]
    clocks: Sequence[tuple[str, str, str, str]]
    mates: Sequence[str]


@dataclass(frozen=True)
class Line:
    """One entry: what it said, and by whom and when it was entered. `late`: it was not known then."""

    told: Told
    late: bool


def side(seen: Seen, rules: Rules, title: str) -> Side:
    """An answer with what it rests on."""
    answer, facts = seen.answer, seen.facts
    holder = (facts.holder if facts else None) or {}
    place = [str(HOLDER_NAMES.get(holder.get("kind", ""), "")), holder.get("crew"), holder.get("depot")]
    about = ", ".join(one for one in place if one)
    set_day = answer.set_good_through if seen.reliable else None
    rows = [
        (_("Condition"), str(CONDITION_NAMES[facts.condition]) if facts else _("not in the book")),
        (_("Held by"), f"{holder['name']} ({about})" if holder else _("nobody")),
        (_("Since"), wording.day(facts.holder_since) if facts and facts.holder_since else ""),
        (_("First issued"), wording.day(facts.first_issued_on) if facts and facts.first_issued_on else ""),
        (_("Set"), facts.set_no or "" if facts else ""),
        (_("Set good through"), wording.day(set_day) if set_day else ""),
        (_("Label code"), codes.grouped(facts.label) if facts and facts.label else ""),
        (_("Rule pack"), answer.rule_pack or (rules.pack.label if rules.pack else _("none could be read"))),
        (_("Site policy"), policy_words(rules, facts.kind if facts else None)),
    ]
    roles = (_("decides"), _("next"))
    return Side(
        title,
        answer.verdict,
        wording.verdict(answer),
        [f"{wording.sentence(one)} [{one.source}]" for one in answer.reasons],
        [(name, value) for name, value in rows if value],
        [
            (wording.clock(one.name), wording.day(one.good_through), roles[at] if at < 2 else "", one.source)
            for at, one in enumerate(answer.clocks if seen.reliable else ())
        ],
        [f"{mate.item_no}: {wording.verdict(told)}" for told, mate in seen.mates],
    )


def policy_words(rules: Rules, kind: str | None) -> str:
    """What the site had chosen for a kind on top of its pack, in a line."""
    policy = rules.policy
    chosen = [
        _("%(count)s %(unit)s from %(base)s") % {"count": span.count, "unit": span.unit, "base": base}
        for base, spans in ((_("the test"), policy.intervals), (_("the test, unissued"), policy.shelf_limits))
        if (span := spans.get(kind or ""))
    ]
    chosen += [_("every period counts from the test")] if policy.count_from_test else []
    chosen += [_("without a look before use it is stop")] if policy.preuse_stops else []
    chosen += [_("in the hands of another it is stop")] if policy.other_holder_stops else []
    return f"{policy.source}: {', '.join(chosen) or _('nothing beyond the pack')}"


def told(found: Dossier, *, depot: Depot | None) -> dict[str, Any]:
    """Everything that page and paper show. Of a reader bound to a depot the names of other depots' people are kept."""
    identity = found.true_then.facts.identity if found.true_then.facts else {}
    lines = {part: _lines(found, kinds) for part, kinds in PARTS.items() if part != "tests"}
    known = frozenset().union(*PARTS.values())
    lines["other"] = [
        Line(one, one.entry.recorded_at > found.as_of) for one in found.shown if one.entry.kind not in known
    ]
    return {
        "item_no": found.item.item_no,
        "heading": described.heading(identity),
        "markings": [
            *described.markings(identity),
            *([(_("Lot"), found.lot.lot)] if found.lot.lot else []),
        ],
        "as_of": moment(found.as_of),
        "known_at": moment(found.known_at),
        "sides": [
            side(found.true_then, found.rules, _("True then, as known on %s") % moment(found.known_at)),
            side(found.known_then, found.rules_known_then, _("What the system knew then")),
        ],
        "differs": found.content["true_then"] != found.content["known_then"],
        "answers": [_answer(one, found.as_of, depot) for one in found.answers],
        "late": [_late(one, correction) for one, correction in found.late],
        "parts": [(part, TITLES[part](), rows) for part, rows in lines.items() if rows],
        "tests": [(test, _is_late(found, test.entry)) for test in found.tests],
        "photos": found.photos,
        "refusals": [_refusal(one, depot) for one in found.refusals],
        "lot": found.lot,
        "after": found.after,
        "code": found.code,
        "reliable": found.reliable,
        "pack": found.rules.pack.label if found.rules.pack else _("none could be read"),
        "seal": f"{found.seal.number}:{found.seal.hash}" if found.seal else _("none yet"),
        "entries": len(found.stated),
    }


def _lines(found: Dossier, kinds: frozenset[str]) -> list[Line]:
    return [Line(one, one.entry.recorded_at > found.as_of) for one in found.shown if one.entry.kind in kinds]


def _is_late(found: Dossier, entry: str) -> bool:
    return any(str(one.entry.pk) == entry and one.entry.recorded_at > found.as_of for one in found.shown)


def _late(one: Told, correction: Any) -> dict[str, Any]:
    entry = correction.entry if correction else one.entry
    return {
        "title": _("Correction of: %s") % one.title if correction else one.title,
        "when": (correction.when or one.when) if correction else one.when,
        "says": correction.says if correction else one.says,
        "withdrawn": bool(correction and correction.withdrawn),
        "reason": correction.reason if correction else "",
        "who": correction.who if correction else one.who,
        "recorded": moment(entry.recorded_at),
    }


def _answer(given: GivenAnswer, as_of: datetime, depot: Depot | None) -> dict[str, Any]:
    shown = told_at(given)
    words = wording.VERDICTS[given.verdict].format(
        date=wording.day(given.good_through) if given.good_through else ""
    )
    return {
        "at": moment(shown),
        "after": shown > as_of,
        "arrived": moment(given.at) if given.shown_at else "",
        "verdict": given.verdict,
        "words": words.strip(),
        "reasons": ", ".join(str(wording.SHORT.get(str(code), code)) for code in given.reasons),
        "who": _name(given.by, depot),
        "device": given.device,
        "age": age_words(given.data_age_s),
        "pack": given.rule_pack,
    }


def age_words(seconds: int) -> str:
    """The age of the data that an answer was given from."""
    if seconds < 60:
        return _("%s s") % seconds
    if seconds < 3600:
        return _("%s min") % (seconds // 60)
    return _("%(hours)s h %(minutes)s min") % {"hours": seconds // 3600, "minutes": seconds % 3600 // 60}


def _name(person: User | None, depot: Depot | None) -> str:
    """Whose name it is, for a reader who sees all, or the people of one depot and those of none."""
    if person is None:
        return _("nobody signed in")
    own = person.depot or (person.crew.depot if person.crew else None)
    if depot is not None and own is not None and own != depot:
        return _("somebody of another depot")
    return person.name


def _refusal(one: Refusal, depot: Depot | None) -> dict[str, Any]:
    return {"at": moment(one.at), "who": _name(one.by, depot), "act": one.act, "why": one.detail or one.code}
