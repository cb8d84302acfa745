"""What an entry of the ledger may say: kinds, the facts of each, and how entries of one moment sort."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

VERSION = 1
LARGEST_NUMBER = 2**53 - 1  # whole numbers that every program reads alike (RFC 8785)
# What reading facts that are not what they should be raises.
UNREADABLE = (KeyError, TypeError, ValueError, AttributeError, RecursionError)
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

# kind: (subject, required facts, optional facts). `batch` names the act that did many at once, by its own number;
# `replaces` the pieces that an issue takes the place of, or the code of the label that a new one takes the place of.
# `told` is what a screen said of the item when this was entered, `checklist` the lines that were looked through,
# `owner` whose gear it is where it is not ours.
SCHEMA: Mapping[str, tuple[str, frozenset[str], frozenset[str]]] = {
    "received": (
        "item",
        frozenset({"identity", "holder"}),
        frozenset({"date_stated", "note", "row_hash", "batch", "owner"}),
    ),
    "issued": (
        "item",
        frozenset({"holder"}),
        frozenset({"first_issue", "first_issue_known", "note", "batch", "replaces"}),
    ),
    "moved": ("item", frozenset({"holder"}), frozenset({"first_issue_known", "note", "batch"})),
    # A visitor's piece goes home: from then on nobody here knows where it is, nor what becomes of it.
    "handed_back": ("item", frozenset(), frozenset({"note", "batch"})),
    "returned": ("item", frozenset({"holder"}), frozenset({"note", "batch"})),
    "tested": (
        "item",
        frozenset({"outcome", "purpose", "pack", "judged_as", "readings"}),
        frozenset({"codes", "effects", "limit", "note", "batch"}),
    ),
    "inspected": (
        "item",
        frozenset({"outcome", "scope"}),
        frozenset({"words", "place", "note", "cleaned", "qualification", "checklist", "told"}),
    ),
    "event": ("item", frozenset({"event"}), frozenset({"note", "length_mm", "told"})),
    # `evidence`: the piece is kept as it is, see gear.rules.transitions.
    "held": ("item", frozenset({"reason"}), frozenset({"batch", "evidence"})),
    "released": ("item", frozenset({"hold", "reason"}), frozenset({"batch"})),
    "rejected": ("item", frozenset({"reason"}), frozenset()),
    "destroyed": ("item", frozenset({"reason", "witness"}), frozenset({"batch"})),
    "lost": ("item", frozenset({"reason"}), frozenset()),
    "found": ("item", frozenset(), frozenset({"note", "holder"})),
    "needs_cleaning": ("item", frozenset({"reason"}), frozenset()),
    "sent_for_test": ("item", frozenset(), frozenset({"reason", "holder", "batch"})),
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
    "instrument_added": ("site", frozenset({"instrument", "instrument_kind"}), frozenset({"note"})),
    "calibrated": (
        "site",
        frozenset({"instrument", "calibrated_on", "in_tolerance"}),
        frozenset({"good_through", "certificate_no", "calibrated_by", "as_found"}),
    ),
    # The whole record was put back from a backup made at `made_at`, whose newest seal was `seal` (empty: none).
    "restored": ("site", frozenset({"made_at", "seal", "head"}), frozenset({"version"})),
    # What that may have lost is answered for: `how` by comparing the seal or by signing for the gap. `outside` is the
    # newer seal, known outside the record, that is given up with it.
    "restore_accepted": ("site", frozenset({"how"}), frozenset({"seal", "outside", "reason"})),
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
VERDICTS = ("good", "stop", "unknown")
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

_BY_OUTCOME = {
    "tested": {"accepted": 2, "void": 4, "unjudged": 5, "failed": 8},
    "inspected": {"accept": 2, "clean": 5, "test": 6, "reject": 8},
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
    if facts.get("v") != VERSION or facts["v"] is True:
        raise BadFacts(
            f"Facts of version {facts.get('v')!r} are not known to this program; it knows {VERSION}."
        )
    _check_plain(facts, "facts")
    _check_words(kind, facts)
    for field, shape in _SHAPES.items():
        fits, wanted = _SHAPES_OF.get((kind, field), shape)
        if (field in required or facts.get(field) is not None) and not fits(facts[field]):
            raise BadFacts(f"{field} is {wanted}, not {facts[field]!r}.")
    if kind == "corrected":
        _check_replacement(facts["replacement"], subject=subject)


def _check_plain(value: object, field: str) -> None:
    """Only what both databases, every program and the hash read alike."""
    if isinstance(value, Mapping):
        for name, one in value.items():
            if not isinstance(name, str):
                raise BadFacts(f"{field} has the name {name!r}; a name is text.")
            _check_plain(name, field)
            _check_plain(one, name)
    elif isinstance(value, list | tuple):
        for one in value:
            _check_plain(one, field)
    elif isinstance(value, str):
        if "\0" in value or any("\ud800" <= symbol <= "\udfff" for symbol in value):
            raise BadFacts(f"{field} holds a character that cannot be kept. Type it again.")
    elif value is not None and not isinstance(value, int):
        raise BadFacts(f"{field} is {value!r}; a number with decimals is given as text.")
    elif value is not None and abs(value) > LARGEST_NUMBER:
        raise BadFacts(f"{field} is too large a number.")


def _check_replacement(replacement: object, *, subject: str) -> None:
    """What an entry should have said: an entry of its own, or None where there should be none."""
    if replacement is None:
        return
    wanted = {"kind", "facts", "occurred_at", "occurred_on"}
    if not isinstance(replacement, Mapping) or not wanted <= set(replacement) <= wanted | {"precision"}:
        raise BadFacts("replacement is null, or has a kind, facts, occurred_at and occurred_on.")
    if replacement["kind"] == "corrected" or not isinstance(replacement["facts"], Mapping):
        raise BadFacts("replacement is an entry, not a correction.")
    if not _is_moment(replacement["occurred_at"]) or not _is_day(replacement["occurred_on"]):
        raise BadFacts("replacement needs the day it happened on and the moment with its offset from UTC.")
    check(replacement["kind"], replacement["facts"], subject=subject)


def _is_day(value: object) -> bool:
    try:
        return isinstance(value, str) and date.fromisoformat(value).isoformat() == value
    except ValueError:
        return False


def _is_moment(value: object) -> bool:
    try:
        return isinstance(value, str) and datetime.fromisoformat(value).tzinfo is not None
    except ValueError:
        return False


def _is_holder(value: object) -> bool:
    return (
        isinstance(value, Mapping)
        and value.get("kind") in HOLDER_KINDS
        and isinstance(value.get("name"), str)
        and value["name"] != ""
    )


def is_identity(value: object) -> bool:
    """Whether this can say what an item is: text, whole numbers and ISO dates under the names of IDENTITY."""
    return (
        isinstance(value, Mapping)
        and set(value) <= set(IDENTITY)
        and all(one is None or isinstance(one, str) or type(one) is int for one in value.values())
        and all(value.get(name) is None or _is_day(value[name]) for name in ("made_on", "marked_expiry_on"))
    )


def _is_text(value: object) -> bool:
    return isinstance(value, str)


def _is_codes(value: object) -> bool:
    return isinstance(value, list) and all(
        isinstance(one, Mapping) and isinstance(one.get("code"), str) for one in value
    )


def _is_words(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(one, str) for one in value)


def _is_told(value: object) -> bool:
    return (
        isinstance(value, Mapping)
        and set(value) <= {"verdict", "as_of_ms", "data_age_s", "source"}
        and value.get("verdict") in VERDICTS
        and all(type(value.get(name, 0)) is int for name in ("as_of_ms", "data_age_s"))
        and isinstance(value.get("source", ""), str)
    )


def _is_flag(value: object) -> bool:
    return isinstance(value, bool)


# field: (whether a value fits, how it should be)
_SHAPES = {
    "holder": (_is_holder, f"a kind of {', '.join(HOLDER_KINDS)} with a name"),
    "identity": (is_identity, f"text, whole numbers and ISO dates under {', '.join(IDENTITY)}"),
    "judged_as": (lambda value: isinstance(value, Mapping), "a field of the identity and its value, each"),
    "readings": (lambda value: isinstance(value, Mapping), "what was read, by name"),
    "codes": (_is_codes, "a list of findings, each with its code"),
    "effects": (
        lambda value: _is_words(value) and set(value) <= {"suspect", "needs_cleaning"},
        "suspect, needs_cleaning",
    ),
    **dict.fromkeys(("words", "replaces", "checklist"), (_is_words, "a list of words")),
    "told": (_is_told, f"one of {', '.join(VERDICTS)} with its moment, its age and its source"),
    "required": (lambda value: type(value) is int and value > 0, "a whole number of pieces"),
    "policy": (lambda value: isinstance(value, Mapping), "the choices of a site policy, by name"),
    "length_mm": (lambda value: type(value) is int and value > 0, "a whole number of millimetres"),
    **dict.fromkeys(("effective_from", "calibrated_on", "good_through"), (_is_day, "a date like 2026-09-14")),
    **dict.fromkeys(
        ("first_issue", "first_issue_known", "date_stated", "cleaned", "in_tolerance", "evidence"),
        (_is_flag, "true or false"),
    ),
    **dict.fromkeys(
        (
            "reason",
            "note",
            "set_no",
            "code",
            "hold",
            "witness",
            "purpose",
            "pack",
            "place",
            "name",
            "version",
            "sha256",
            "person",
            "change",
            "batch",
            "qualification",
            "instrument",
            "instrument_kind",
            "certificate_no",
            "calibrated_by",
            "as_found",
            "owner",
            "made_at",
            "seal",
            "head",
            "how",
            "outside",
        ),
        (_is_text, "text"),
    ),
}

# (kind, field): the same where one kind means another thing by a field
_SHAPES_OF = {("labelled", "replaces"): (_is_text, "the code that it takes the place of")}


def _check_words(kind: str, facts: Mapping) -> None:
    allowed = {
        ("tested", "outcome"): OUTCOMES,
        ("event", "event"): VOIDING_EVENTS,
        ("inspected", "outcome"): ("accept", "clean", "test", "reject"),
        ("inspected", "scope"): ("pre_use", "tool_room"),
        ("inspected", "qualification"): ("current", "not_on_file"),
    }
    for (of_kind, field), words in allowed.items():
        if kind == of_kind and (field in SCHEMA[kind][1] or field in facts) and facts[field] not in words:
            raise BadFacts(f"{field} is one of {', '.join(words)}, not {facts[field]!r}.")


def severity(kind: str, facts: Mapping) -> int:
    """Rank of an entry among those of the same moment; higher is worse and counts as later."""
    if kind in _BY_OUTCOME:
        outcome = facts.get("outcome") if isinstance(facts, Mapping) else None
        return _BY_OUTCOME[kind].get(outcome, 6) if isinstance(outcome, str) else 6
    return 9 if kind == "destroyed" else _SEVERITY.get(kind, 6)


def sorts_early(kind: str, facts: Mapping) -> bool:
    """Whether a date without a time counts from 00:00 (True) or from 23:59:59 (False)."""
    return severity(kind, facts) <= 3


def order(line: Line) -> tuple:
    """Folding order: when it happened, the worse later, when it was learned, then the id."""
    return (line.occurred_at, severity(line.kind, line.facts), line.recorded_at, str(line.id))
