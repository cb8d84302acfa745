"""A test certificate: the facts of one test as its entries say them, the figures of the pack, a number and a code.

Everything follows from entries, which are never changed, and from the rule pack that the test names, which is not
edited either: the same certificate has the same facts and code for ever.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from gear.rules.packs import Figure, PackRefused, RulePack, load
from inspections.rules.testfacts import plain
from reports.rules import certificate_check as check

JUMPER_CONSTANTS = ("cable_factor", "fittings_mohm", "alpha_per_c", "reference_c")


class NotCertified(ValueError):
    """No certificate can be made. The message says in a few words why."""


@dataclass(frozen=True)
class Standing:
    """What became of a test since: "in_force", "replaced" (by the certificate `number`) or "withdrawn", and when."""

    word: str = "in_force"
    number: str = ""
    at: datetime | None = None


@dataclass(frozen=True)
class Certificate:
    """What is certified of one test. `facts` is what the code covers; `entries` are what the facts follow from."""

    number: str
    code: str
    facts: Mapping[str, str]
    entries: Mapping[str, Mapping[str, Any]]
    test: Mapping[str, Any]
    tested_on: str
    identity: Mapping[str, Any]
    figures: Mapping[str, Figure] = field(default_factory=dict)

    @property
    def item_no(self) -> str:
        return self.facts["item"]

    @property
    def outcome(self) -> str:
        """accepted, failed, void or unjudged."""
        return str(self.test["outcome"])

    @property
    def kind(self) -> str | None:
        """The kind that the test was judged for; what the item is said to be where that is not stated."""
        return self.test.get("judged_as", {}).get("kind") or self.identity.get("kind")


def certificate(entries: Mapping[str, Mapping[str, Any]]) -> Certificate:
    """The certificate of a test from its entries, by role as `certificate_check.facts_of` takes them.

    Raises NotCertified where an entry or the rule pack that the test names cannot be read.
    """
    stated = {role: dict(entry) for role, entry in entries.items()}
    try:
        facts = check.facts_of(stated)
        test, day = check.test_stated(stated["test"])
        number = check.number_of(stated["test"])
        identity = check.identity_stated(stated["identity"]) if "identity" in stated else {}
        figures = _figures(test, identity, _pack(str(test["pack"])))
    except (KeyError, TypeError, ValueError, AttributeError, check.NotACertificate) as error:
        raise NotCertified(f"the entry cannot be read: {error!r}") from error
    except PackRefused as error:
        raise NotCertified(error.message) from error
    facts |= check.flattened(check.PACK[:-1], {name: _stated(figure) for name, figure in figures.items()})
    return Certificate(number, check.code_of(number, facts), facts, stated, test, day, identity, figures)


def _pack(label: str) -> RulePack:
    name, _blank, version = label.rpartition(" ")
    return load(name, version)


def _figures(test: Mapping[str, Any], identity: Mapping[str, Any], pack: RulePack) -> dict[str, Figure]:
    """The figures that stand on the certificate and in no entry: MAX USE, the time asked for, a jumper's constants."""
    judged_as = test["judged_as"]
    kind = judged_as.get("kind") or identity.get("kind") or ""
    cls = judged_as.get("class")
    found: dict[str, Figure | None] = {}
    if kind == "grounding_jumper":
        found["r20_mohm_per_ft"] = pack.r20_mohm_per_ft(judged_as.get("cable_size"))
        found |= {name: pack.jumper_constant(name) for name in JUMPER_CONSTANTS}
    else:
        found["max_use_v"] = pack.max_use_v(kind, cls)
        found["use_to_ground_v"] = pack.use_to_ground_v(kind, cls)
        if found["max_use_v"] is not None:
            found["seconds"] = pack.seconds_required(test["purpose"])
    return {name: figure for name, figure in found.items() if figure is not None}


def _stated(figure: Figure) -> dict[str, str]:
    value = figure.value
    return {
        "value": plain(value) if not isinstance(value, int | str | None) else str(value),
        "source": figure.source,
        "clause": figure.clause,
        "status": figure.status,
    }


def attachment(
    certificates: Iterable[Certificate],
    *,
    leaves: Mapping[str, Mapping[str, Any]],
    seals: Mapping[int, Mapping[str, Any]],
) -> bytes:
    """What is attached to the PDF for the check without a database. `leaves` are by the id of an entry."""
    given = [
        {
            "number": one.number,
            "code": one.code,
            "facts": dict(one.facts),
            "entries": one.entries,
            "leaves": {
                role: leaves[entry["id"]] for role, entry in one.entries.items() if entry["id"] in leaves
            },
        }
        for one in certificates
    ]
    known = {str(number): seal for number, seal in seals.items()}
    return check.canonical({"format": check.FORMAT, "certificates": given, "seals": known})


@dataclass(frozen=True)
class Typed:
    """A certificate number as somebody typed it: the item and the place in its record."""

    item_no: str
    position: int


def typed_number(text: str) -> Typed | None:
    """The parts of a number such as G-01234/7; None where it is none."""
    item_no, slash, position = (part.strip() for part in " ".join(text.split()).rpartition("/"))
    if not slash or not item_no or not (position.isascii() and position.isdigit()) or len(position) > 6:
        return None
    return Typed(item_no, int(position))


def same_code(typed: str, code: str) -> bool:
    """Whether a typed code is this one; any case, blanks and dashes as they come."""
    return "".join(sign for sign in typed.upper() if sign.isalnum()) == code.replace("-", "")


def tally(certificates: Sequence[Certificate]) -> dict[str, int]:
    """How many of each outcome, the worst first; outcomes that do not occur are left out."""
    order = ("failed", "void", "unjudged", "accepted")
    counts = {word: sum(1 for one in certificates if one.outcome == word) for word in order}
    return {word: count for word, count in counts.items() if count}
