"""What an entry of the ledger may say: kinds, the facts of each, and how entries of one moment sort."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

VERSION = 1
USABLE_HOLDERS = frozenset({"person", "truck", "crew", "contractor"})
HOLDER_KINDS = ("person", "truck", "crew", "shelf", "bench", "lab", "contractor")
CONDITIONS = (
    "ok",
    "held",
    "needs_cleaning",
    "out_for_test",
    "out_for_repair",
    "rejected",
    "destroyed",
    "lost",
)

# kind: (subject, required facts, optional facts)
SCHEMA: Mapping[str, tuple[str, frozenset[str], frozenset[str]]] = {
    "received": ("item", frozenset({"identity", "holder"}), frozenset({"date_stated", "note", "row_hash"})),
    "issued": ("item", frozenset({"holder"}), frozenset({"first_issue", "first_issue_known", "note"})),
    "moved": ("item", frozenset({"holder"}), frozenset({"first_issue_known", "note"})),
    "returned": ("item", frozenset({"holder"}), frozenset({"note"})),
    "tested": (
        "item",
        frozenset({"outcome", "purpose", "pack", "judged_as", "readings"}),
        frozenset({"codes", "effects", "limit", "note"}),
    ),
    "inspected": ("item", frozenset({"outcome", "scope"}), frozenset({"words", "place", "note"})),
    "event": ("item", frozenset({"event"}), frozenset({"note"})),
    "held": ("item", frozenset({"reason"}), frozenset()),
    "released": ("item", frozenset({"hold", "reason"}), frozenset()),
    "rejected": ("item", frozenset({"reason"}), frozenset()),
    "destroyed": ("item", frozenset({"reason", "witness"}), frozenset()),
    "lost": ("item", frozenset({"reason"}), frozenset()),
    "found": ("item", frozenset(), frozenset({"note", "holder"})),
    "needs_cleaning": ("item", frozenset({"reason"}), frozenset()),
    "sent_for_test": ("item", frozenset(), frozenset({"reason", "holder"})),
    "sent_for_repair": ("item", frozenset({"reason"}), frozenset({"holder"})),
    "joined_set": ("item", frozenset({"set_no"}), frozenset()),
    "left_set": ("item", frozenset({"set_no"}), frozenset({"reason"})),
    "labelled": ("item", frozenset({"code"}), frozenset({"replaces", "reason"})),
    "noted": ("item", frozenset({"note"}), frozenset()),
    "set_formed": ("set", frozenset({"set_no", "kind", "required"}), frozenset({"reason"})),
    "pack_adopted": (
        "site",
        frozenset({"name", "version", "sha256", "effective_from", "reason"}),
        frozenset(),
    ),
    "policy_set": ("site", frozenset({"policy", "effective_from", "reason"}), frozenset()),
    "person_changed": ("site", frozenset({"person", "change"}), frozenset({"note"})),
    "corrected": ("any", frozenset({"reason", "replacement"}), frozenset()),
}
IDENTITY = (
    "kind",
    "class",
    "hand",
    "size",
    "length_mm",
    "type",
    "colour",
    "maker",
    "model",
    "serial",
    "lot",
    "made_on",
    "marked_expiry_on",
    "rated_kv",
    "cable_size",
    "cable_length_m",
    "clamp_grade",
    "ferrule_grade",
)
VOIDING_EVENTS = (
    "suspect",
    "repaired",
    "used_without_protectors",
    "flash_or_contact",
    "carried_fault_current",
    "dropped",
)
OUTCOMES = ("accepted", "failed", "void", "unjudged")

# At one and the same moment the worse is taken to have happened later.
_SEVERITY = {
    "received": 0,
    "labelled": 0,
    "joined_set": 1,
    "found": 1,
    "released": 1,
    "returned": 2,
    "issued": 2,
    "moved": 2,
    "left_set": 3,
    "noted": 3,
}


class BadFacts(ValueError):
    """The facts of an entry do not fit its kind. The message names the field."""


@dataclass(frozen=True)
class Line:
    """One ledger entry as the rules see it. Moments are aware UTC; `occurred_on` is a date in the site's zone."""

    id: UUID
    kind: str
    occurred_at: datetime
    occurred_on: date
    recorded_at: datetime
    by: str
    facts: Mapping
    corrects: UUID | None = None
    precision: str = "moment"


def check(kind: str, facts: Mapping, *, subject: str) -> None:
    """Raise BadFacts unless `facts` fit `kind` on a subject `item`, `set` or `site`."""
    if kind not in SCHEMA:
        raise BadFacts(f"There is no entry of kind {kind!r}.")
    wanted_subject, required, optional = SCHEMA[kind]
    if wanted_subject not in (subject, "any"):
        raise BadFacts(f"An entry {kind!r} belongs to a {wanted_subject}, not to a {subject}.")
    names = set(facts) - {"v"}
    if missing := required - names:
        raise BadFacts(f"An entry {kind!r} needs {', '.join(sorted(missing))}.")
    if extra := names - required - optional:
        raise BadFacts(f"An entry {kind!r} does not know {', '.join(sorted(extra))}.")
    if facts.get("v") != VERSION:
        raise BadFacts(
            f"Facts of version {facts.get('v')!r} are not known to this program; it knows {VERSION}."
        )
    _check_words(kind, facts)


def _check_words(kind: str, facts: Mapping) -> None:
    allowed = {
        ("tested", "outcome"): OUTCOMES,
        ("event", "event"): VOIDING_EVENTS,
        ("inspected", "outcome"): ("accept", "clean", "test", "reject"),
        ("inspected", "scope"): ("pre_use", "tool_room"),
    }
    for (of_kind, field), words in allowed.items():
        if kind == of_kind and facts[field] not in words:
            raise BadFacts(f"{field} is one of {', '.join(words)}, not {facts[field]!r}.")
    holder = facts.get("holder")
    if holder is not None and holder.get("kind") not in HOLDER_KINDS:
        raise BadFacts(f"holder kind is one of {', '.join(HOLDER_KINDS)}, not {holder.get('kind')!r}.")


def severity(kind: str, facts: Mapping) -> int:
    """Rank of an entry among those of the same moment; higher is worse and counts as later."""
    if kind == "tested":
        return {"accepted": 2, "void": 4, "unjudged": 5, "failed": 8}[facts["outcome"]]
    if kind == "inspected":
        return {"accept": 2, "clean": 5, "test": 6, "reject": 8}[facts["outcome"]]
    return 9 if kind == "destroyed" else _SEVERITY.get(kind, 6)


def sorts_early(kind: str, facts: Mapping) -> bool:
    """Whether a date without a time counts from 00:00 (True) or from 23:59:59 (False)."""
    if kind == "tested":
        return facts["outcome"] == "accepted"
    if kind == "inspected":
        return facts["outcome"] == "accept"
    return severity(kind, facts) <= 3


def order(line: Line) -> tuple:
    """Folding order: when it happened, the worse later, when it was learned, then the id."""
    return (line.occurred_at, severity(line.kind, line.facts), line.recorded_at, str(line.id))
