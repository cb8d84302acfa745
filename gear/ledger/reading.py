"""Chains as they stand in the database, each with the head that witnesses it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from django.db import connections
from django.db.models import F, QuerySet

from gear.ledger.chain import Break, first_break, payload, subject_name
from gear.models import Entry, GearSet, Item, ItemState, SiteHead
from gear.rules.hashing import entry_hash

# Every act asks this, so it is stated as it is; entries and head in one statement, as they were in the same moment.
_LINKS = """
    SELECT e.position, e.previous_hash, e.hash, h.entry_count, h.head_hash, h.chain_ok
    FROM gear_entry e LEFT JOIN gear_sitehead h ON h.only
    WHERE e.item_id IS NULL AND e.gear_set_id IS NULL ORDER BY e.position
"""
LOOKS = 3  # how often a suspect is looked at: an act under way may look like a break, but does not stay one


@dataclass
class Chain:
    """The entries of one subject in order of position, and what its head says of them.

    `count` is None where the head is missing; `marked_broken` what the last verification found; `readable` is
    False where a value in the database is not of its kind, and then `entries` is empty.
    """

    subject: str
    count: int | None
    head_hash: str = ""
    marked_broken: bool = False
    entries: list[Entry] = field(default_factory=list)
    readable: bool = True

    def first_break(self, usernames: Mapping[int, str]) -> Break | None:
        """The first break, or None for a whole chain."""
        if not self.readable:
            return Break("ENTRY_UNREADABLE", 0)
        if self.count is None:
            return Break("STATE_MISSING", 0)
        return first_break(
            self.entries,
            subject=self.subject,
            usernames=usernames,
            count=self.count,
            head_hash=self.head_hash,
        )

    def problem(self, usernames: Mapping[int, str]) -> str:
        """Why the record cannot be relied upon, in a few words, or an empty string."""
        if found := self.first_break(usernames):
            return found.why(self.count or 0)
        return "found by verify_ledger" if self.marked_broken else ""


def item_chains(pks: Sequence[int]) -> dict[int, Chain]:
    """The chains of these items, in a constant number of queries; items that do not exist are left out."""
    states = {state.pk: state for state in ItemState.objects.filter(pk__in=pks).defer("facts")}
    chains = {}
    for item in Item.objects.filter(pk__in=pks):
        state = states.get(item.pk)
        chains[item.pk] = (
            Chain(subject_name(item), None) if state is None else _headed(subject_name(item), state)
        )
    heads = {"of_count": F("item__state__entry_count"), "of_head_hash": F("item__state__head_hash")}
    _fill(chains, Entry.objects.annotate(**heads), "item_id")
    return chains


def set_chains(rows: Iterable[GearSet]) -> dict[int, Chain]:
    """The chains of these sets by number of row, in a constant number of queries."""
    chains = {row.pk: _headed(subject_name(row), row) for row in rows}
    heads = {"of_count": F("gear_set__entry_count"), "of_head_hash": F("gear_set__head_hash")}
    _fill(chains, Entry.objects.annotate(**heads), "gear_set_id")
    return chains


def site_chain() -> Chain:
    """The chain of the site's own entries; empty where nothing was ever decided."""
    found = Entry.objects.filter(item__isnull=True, gear_set__isnull=True).order_by("position")
    try:
        entries = list(found)
    except (ValueError, TypeError, AttributeError):
        return Chain("site", 0, readable=False)
    # The head is read after the entries: one that is ahead of them means a writer in between, or a cut.
    head = SiteHead.objects.first()
    if head is None:
        return Chain("site", None if entries else 0, entries=entries)
    chain = _headed("site", head)
    chain.entries = entries
    return chain


def site_entries(kinds: Sequence[str]) -> tuple[list[Entry], str]:
    """The site's entries of these kinds by position, and why they cannot be relied upon (empty: they can).

    In a constant number of queries: every entry must be there and follow the one before it, and those of these
    kinds must say what they said when recorded. (Entries about people are many and decide nothing: those are
    looked at by verify_ledger alone.)
    """
    for _look in range(LOOKS):
        try:
            site = Entry.objects.filter(item__isnull=True, gear_set__isnull=True).order_by("position")
            found = list(site.filter(kind__in=kinds).annotate(username=F("by__username")))
            why = _links_problem(site.db) or _contents_problem(found)
        except (ValueError, TypeError, AttributeError):
            return [], "a value in the site's entries cannot be read"
        if not why:
            break
    return found, why


def _links_problem(database: str) -> str:
    with connections[database].cursor() as cursor:
        cursor.execute(_LINKS)
        links = cursor.fetchall()
    previous, position, stated = "", 0, None
    for position, *link, count, head_hash, chain_ok in links:
        stated = (count, head_hash, chain_ok)
        if link[0] != previous:
            return f"site entry {position} does not follow the one before it"
        previous = link[1]
    heads = SiteHead.objects.using(database).values_list("entry_count", "head_hash", "chain_ok")
    count, head_hash, chain_ok = stated or heads.first() or (0, "", True)
    if (position, previous) != (count, head_hash):
        return f"{count} site entries were recorded, {position} are there, or the newest is another"
    return "" if chain_ok else "verify_ledger found the site's record broken"


def _contents_problem(found: Iterable[Entry]) -> str:
    for entry in found:
        stated = payload(entry, subject="site", by=entry.username or "")
        if entry_hash(stated, entry.previous_hash) != entry.hash:
            return f"site entry {entry.position} ({entry.id}) was changed after it was recorded"
    return ""


def _headed(subject: str, head: ItemState | GearSet | SiteHead) -> Chain:
    return Chain(subject, head.entry_count, head.head_hash, not head.chain_ok)


def _fill(chains: dict[int, Chain], annotated: QuerySet[Entry], column: str) -> None:
    """Put the entries into their chains, with the head as it was in the very same moment.

    One statement sees one state of the database; two could see an act half done and call a whole chain broken.
    """
    found, unreadable = _read(annotated, column, sorted(chains))
    for pk, group in groupby(found, key=lambda entry: getattr(entry, column)):
        chain = chains[pk]
        chain.entries = list(group)
        chain.count, chain.head_hash = chain.entries[0].of_count, chain.entries[0].of_head_hash or ""
    for pk in unreadable:
        chains[pk].readable = False


def _read(annotated: QuerySet[Entry], column: str, pks: Sequence[int]) -> tuple[list[Entry], list[int]]:
    """The entries, and the subjects whose entries cannot be read: SQLite takes any text for a moment or an id."""
    try:
        return list(annotated.filter(**{f"{column}__in": pks}).order_by(column, "position", "pk")), []
    except (ValueError, TypeError, AttributeError):
        if len(pks) == 1:
            return [], list(pks)
    half = len(pks) // 2
    first, second = _read(annotated, column, pks[:half]), _read(annotated, column, pks[half:])
    return first[0] + second[0], first[1] + second[1]
