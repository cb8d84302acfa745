"""Fold the entries of one item into the facts that a decision needs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from gear.rules import entries
from gear.rules.correcting import corrected
from gear.rules.entries import HOLDER_KINDS, IDENTITY, UNREADABLE, USABLE_HOLDERS, VERSION, Line, order
from gear.rules.happenings import EVIDENCE, Happening, TestFact


@dataclass
class ItemFacts:
    """All that is known of one item at one moment. Dates are calendar dates of the site; nothing here is a verdict."""

    item_no: str
    identity: dict = field(default_factory=dict)
    received_on: date | None = None
    holder: dict | None = None
    holder_since: date | None = None
    set_no: str | None = None
    label: str | None = None
    issued: bool = False
    first_issued_on: date | None = None
    first_issue_known: bool = True
    accepted: TestFact | None = None
    unjudged: TestFact | None = None
    void_test: TestFact | None = None
    failed: Happening | None = None
    damaged: Happening | None = None
    rejected: Happening | None = None
    destroyed: Happening | None = None
    lost: Happening | None = None
    out_for_test: Happening | None = None
    out_for_repair: Happening | None = None
    needs_cleaning: Happening | None = None
    holds: list[Happening] = field(default_factory=list)
    voided: list[Happening] = field(default_factory=list)
    checked_on: date | None = None
    owner: str | None = None  # whose gear it is; None is our own
    away: Happening | None = None  # it went home with its owner
    unreadable: list[str] = field(default_factory=list)

    @property
    def kind(self) -> str | None:
        return self.identity.get("kind")

    @property
    def cls(self) -> str | None:
        return self.identity.get("class")

    @property
    def usable(self) -> bool:
        """Whether the item is where somebody could pick it up and use it."""
        return self.holder is not None and self.holder["kind"] in USABLE_HOLDERS

    @property
    def evidence(self) -> Happening | None:
        """The hold that keeps the piece as evidence, as long as one is in force."""
        return next((hold for hold in self.holds if hold.word == EVIDENCE), None)

    @property
    def condition(self) -> str:
        """The worst of the conditions that hold, one of entries.CONDITIONS."""
        flags = {
            "destroyed": self.destroyed,
            "rejected": self.failed or self.damaged or self.rejected,
            "lost": self.lost,
            "held": self.holds,
            "out_for_repair": self.out_for_repair,
            "out_for_test": self.out_for_test,
            "needs_cleaning": self.needs_cleaning,
        }
        return next((name for name, flag in flags.items() if flag), "ok")

    @property
    def last_test_on(self) -> date | None:
        """The accepted test that dates the item; None when there is none or an event ended its clocks."""
        return self.accepted.on if self.accepted and not self.voided else None


def fold(item_no: str, lines: Iterable[Line], *, as_of_at: datetime, known_at: datetime) -> ItemFacts:
    """The facts of an item as of a moment, from what was recorded until `known_at` (both aware datetimes).

    The result does not depend on the order in which the entries were recorded. Identity (what the item
    *is*) does not depend on `as_of_at`; everything that happened later than `as_of_at` is left out. Never raises:
    an entry that cannot be read is named in `unreadable`.
    """
    facts = ItemFacts(item_no)
    effective = sorted(corrected(line for line in lines if line.recorded_at <= known_at), key=order)
    stated = None
    for line in effective:
        if line.kind == "received":
            stated = line if _identify(facts, line) else stated
    past = [line for line in effective if line.occurred_at <= as_of_at]
    if stated and stated not in past and past and not stated.facts.get("date_stated", True):
        # The day of receipt is not known: the item was there when its first record was made.
        for line in _arrival(stated, effective):
            _apply(facts, replace(line, occurred_on=past[0].occurred_on))
    for line in past:
        _apply(facts, line)
    return facts


def _arrival(stated: Line, effective: list[Line]) -> Iterable[Line]:
    """What came with a receipt of unknown day: its set, and the hands it was in since nobody knows when.

    Left out, an item in somebody's hands would get the shelf allowance, and a set would not count, before that day.
    """
    yield stated
    for line in effective:
        of_that_day = line.occurred_on == stated.occurred_on and isinstance(line.facts, Mapping)
        if of_that_day and (line.kind == "joined_set" or line.facts.get("first_issue_known") is False):
            yield line


def set_stated(lines: Iterable[Line], *, as_of_at: datetime, known_at: datetime) -> Mapping | None:
    """What a set is (set_no, kind, required) by its newest `set_formed` entry; None where none was known.

    Before the first one it is taken to have been as that one says: what a set is does not depend on the day.
    Never raises; an entry that cannot be read says nothing, and a set of which nothing is known is not complete.
    """
    known = sorted(corrected(line for line in lines if line.recorded_at <= known_at), key=order)
    stated = [line for line in known if line.kind == "set_formed" and isinstance(line.facts, Mapping)]
    past = [line for line in stated if line.occurred_at <= as_of_at]
    chosen = past[-1] if past else stated[0] if stated else None
    if chosen is None:
        return None
    return {name: chosen.facts.get(name) for name in ("set_no", "kind", "required")}


def after(facts: ItemFacts, line: Line) -> ItemFacts:
    """The facts as they would be after one more entry; those given are left alone."""
    then = deepcopy(facts)
    _apply(then, line)
    return then


def _apply(facts: ItemFacts, line: Line) -> None:
    try:
        if line.facts["v"] != VERSION:
            raise ValueError("Facts of another version.")
        _APPLY[line.kind](facts, line)
    except UNREADABLE:
        # An entry that cannot be read must never be taken for one that says nothing bad.
        facts.unreadable.append(str(line.id))


def _identify(facts: ItemFacts, line: Line) -> bool:
    """Take over what the item is; whether that could be read. What could not be read is left out and reported."""
    try:
        identity = {name: line.facts["identity"].get(name) for name in IDENTITY}
        if not entries.is_identity(identity):
            raise ValueError("This is no identity of an item.")
    except UNREADABLE:
        facts.unreadable.append(str(line.id))
        return False
    facts.identity = identity
    return True


def _received(facts: ItemFacts, line: Line) -> None:
    facts.received_on = line.occurred_on
    facts.owner = line.facts.get("owner")
    _put(facts, line)


def _put(facts: ItemFacts, line: Line) -> None:
    if line.facts.get("holder") is None:
        return
    holder = read_holder(line.facts["holder"])
    facts.holder, facts.holder_since, facts.away = holder, line.occurred_on, None
    if (holder["kind"] in USABLE_HOLDERS or line.facts.get("first_issue")) and not facts.issued:
        facts.issued, facts.first_issued_on = True, line.occurred_on
        facts.first_issue_known = line.facts.get("first_issue_known", True)


def _handed_back(facts: ItemFacts, line: Line) -> None:
    """With nobody here: whether it is fit for use can be said again only once it was checked in anew."""
    facts.holder = facts.holder_since = None
    facts.away = Happening("handed_back", line.occurred_on, str(line.id), facts.owner or "")


def read_holder(stated: Mapping) -> dict:
    """A holder as an entry or a state says it. Raises KeyError, TypeError or ValueError where it does not."""
    holder = dict(stated)
    if holder["kind"] not in HOLDER_KINDS or not isinstance(holder["name"], str):
        raise ValueError(f"There is no holder like {holder!r}.")
    return holder


def _tested(facts: ItemFacts, line: Line) -> None:
    stated = line.facts
    test = TestFact(
        line.occurred_on,
        str(line.id),
        stated["purpose"],
        stated["pack"],
        dict(stated["judged_as"]),
        list(stated.get("codes", [])),
    )
    {"accepted": _accept, "failed": _fail, "void": _void, "unjudged": _unjudged}[stated["outcome"]](
        facts, line, test
    )
    if "suspect" in stated.get("effects", []):
        facts.voided.append(Happening("suspect", line.occurred_on, str(line.id)))
    if "needs_cleaning" in stated.get("effects", []):
        facts.needs_cleaning = Happening("needs_cleaning", line.occurred_on, str(line.id))


def _accept(facts: ItemFacts, line: Line, test: TestFact) -> None:
    facts.accepted, facts.unjudged, facts.void_test = test, None, None
    facts.voided.clear()
    facts.needs_cleaning = facts.out_for_test = None
    if test.purpose == "after_repair":
        facts.out_for_repair = None


def _fail(facts: ItemFacts, line: Line, test: TestFact) -> None:
    facts.failed = Happening(",".join(code["code"] for code in test.codes), line.occurred_on, str(line.id))


def _void(facts: ItemFacts, line: Line, test: TestFact) -> None:
    facts.void_test = test


def _unjudged(facts: ItemFacts, line: Line, test: TestFact) -> None:
    facts.unjudged = test


def _inspected(facts: ItemFacts, line: Line) -> None:
    outcome, entry = line.facts["outcome"], str(line.id)
    words = ", ".join(line.facts.get("words", []))
    if outcome == "accept":
        facts.checked_on = line.occurred_on
        if line.facts["scope"] == "tool_room":
            facts.needs_cleaning = None
    elif outcome == "clean":
        facts.needs_cleaning = Happening("needs_cleaning", line.occurred_on, entry, words)
    elif outcome == "test":
        facts.voided.append(Happening("suspect", line.occurred_on, entry, words))
    else:
        facts.damaged = Happening("damaged", line.occurred_on, entry, words)


def _event(facts: ItemFacts, line: Line) -> None:
    facts.voided.append(
        Happening(line.facts["event"], line.occurred_on, str(line.id), line.facts.get("note", ""))
    )


def _held(facts: ItemFacts, line: Line) -> None:
    word = EVIDENCE if line.facts.get("evidence") else "held"
    facts.holds.append(Happening(word, line.occurred_on, str(line.id), line.facts["reason"]))


def _released(facts: ItemFacts, line: Line) -> None:
    facts.holds = [hold for hold in facts.holds if hold.entry != line.facts["hold"]]


def _flag(name: str) -> Callable[[ItemFacts, Line], None]:
    def apply(facts: ItemFacts, line: Line) -> None:
        setattr(facts, name, Happening(name, line.occurred_on, str(line.id), line.facts.get("reason", "")))
        _put(facts, line)

    return apply


def _found(facts: ItemFacts, line: Line) -> None:
    facts.lost = None
    facts.holds.append(Happening("found", line.occurred_on, str(line.id)))
    facts.voided.append(Happening("found", line.occurred_on, str(line.id)))
    _put(facts, line)


def _joined(facts: ItemFacts, line: Line) -> None:
    facts.set_no = line.facts["set_no"]


def _left(facts: ItemFacts, line: Line) -> None:
    if facts.set_no == line.facts["set_no"]:
        facts.set_no = None


def _labelled(facts: ItemFacts, line: Line) -> None:
    facts.label = line.facts["code"]


def _nothing(facts: ItemFacts, line: Line) -> None:
    """A note changes nothing."""


_APPLY = {
    "received": _received,
    "issued": _put,
    "moved": _put,
    "returned": _put,
    "handed_back": _handed_back,
    "tested": _tested,
    "inspected": _inspected,
    "event": _event,
    "held": _held,
    "released": _released,
    "joined_set": _joined,
    "left_set": _left,
    "labelled": _labelled,
    "noted": _nothing,
    "found": _found,
    **{name: _flag(name) for name in ("rejected", "destroyed", "lost", "needs_cleaning")},
    "sent_for_test": _flag("out_for_test"),
    "sent_for_repair": _flag("out_for_repair"),
}


def to_json(facts: ItemFacts) -> dict:
    """JSON-safe form of the facts, without what is empty."""
    return {name: _plain(value) for name, value in vars(facts).items() if value not in (None, [], {})}


def from_json(stored: Mapping) -> ItemFacts:
    """The facts back from `to_json`. Raises KeyError, TypeError, ValueError or AttributeError on anything else."""
    values = dict(stored)
    for name in ("received_on", "holder_since", "first_issued_on", "checked_on"):
        if name in values:
            values[name] = date.fromisoformat(values[name])
    for name in ("accepted", "unjudged", "void_test"):
        if name in values:
            values[name] = TestFact(**{**values[name], "on": date.fromisoformat(values[name]["on"])})
            values[name].judged_as.items()
    for name in _HAPPENINGS:
        if name in values:
            values[name] = _happening(values[name])
    for name in ("holds", "voided"):
        values[name] = [_happening(one) for one in values.get(name, [])]
    if "holder" in values:
        values["holder"] = read_holder(values["holder"])
    _check_stored(values)
    return ItemFacts(**values)


def _check_stored(values: Mapping) -> None:
    if not isinstance(values["issued"], bool) or not isinstance(values["first_issue_known"], bool):
        raise ValueError("Whether it was issued is not said.")
    identity = values.get("identity", {})
    if not entries.is_identity(identity) or not isinstance(values.get("unreadable", []), list):
        raise ValueError("This is no identity of an item.")


_HAPPENINGS = (
    "away",
    "failed",
    "damaged",
    "rejected",
    "destroyed",
    "lost",
    "out_for_test",
    "out_for_repair",
    "needs_cleaning",
)


def _happening(stored: Mapping) -> Happening:
    return Happening(**{**stored, "on": date.fromisoformat(stored["on"])})


def _plain(value: Any) -> Any:
    if isinstance(value, TestFact | Happening):
        return {name: _plain(one) for name, one in vars(value).items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    return value.isoformat() if isinstance(value, date) else value
