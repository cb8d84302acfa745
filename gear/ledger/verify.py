"""Prove that the record is what was recorded, and first that this proof can fail."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from hashlib import sha256

from django.db import connection
from django.utils.translation import gettext as _

from gear import guards
from gear.ledger import integrity, reading, seals, tampering
from gear.ledger.beside import problems_beside
from gear.ledger.chain import Break, line_of
from gear.ledger.photo_files import photo_problems
from gear.ledger.problems import Problem
from gear.ledger.reading import Chain
from gear.ledger.seals import Anchor
from gear.ledger.states import batches
from gear.models import (
    Entry,
    GearSet,
    ImportedFile,
    Item,
    ItemState,
    ItemType,
    Label,
    Membership,
    Seal,
    SiteHead,
    User,
)
from gear.rules import fold
from gear.rules.moments import FOR_EVER

# Checks of the detail rows that other apps keep beside entries; each yields what it finds.
DETAIL_CHECKS: list[Callable[[], Iterable[Problem]]] = []
CHAIN_CODES = frozenset({"ENTRY_MISSING", "ENTRY_MISPLACED", "ENTRY_CHANGED", "HEAD_DIFFERS", "ENTRY_STRAY"})
Window = tuple[datetime | None, datetime]


def verify(anchors: Sequence[Anchor] = (), *, files: bool = False) -> list[Problem]:
    """Everything that is not as it was recorded; an empty list when all is well. With `files`, photos are read too.

    Marks the items, sets and site whose record is broken, so that every answer about them is `unknown`, and
    unmarks those that are whole. Raises tampering.VerifierBroken when the verifier does not find what was
    tampered with in its own sample; then nothing was verified.
    """
    tampering.prove_that_it_shows()
    if damaged := integrity.file_problems():
        integrity.answer_nothing()
        return damaged  # whatever else would be found or not found in such a file says nothing
    problems = [*_items(), *_sets(), *_site(), *_strays(), *_files(), *_triggers(), *problems_beside()]
    problems += [problem for check in DETAIL_CHECKS for problem in check()]
    problems += photo_problems() if files else ()
    explained = any(problem.code in CHAIN_CODES for problem in problems)
    windows: list[Window] = []
    for found in seals.check_seals(Seal.objects.order_by("number").iterator(), seals.leaves_between):
        problems.append(found.problem)
        # Where every chain is whole and a seal is not, somebody rewrote a chain as a whole: it may be any of these.
        if found.rows_until and not explained:
            windows.append((found.rows_after, found.rows_until))
    problems += seals.check_anchors(anchors, Seal.objects.in_bulk([anchor.number for anchor in anchors]))
    _mark({problem.subject for problem in problems}, windows)
    return problems


def _usernames() -> dict[int, str]:
    return dict(User.objects.values_list("pk", "username"))


def _looked_at(
    pks: Sequence[int], problems_of: Callable[[Sequence[int], Mapping[int, str]], dict[int, list[Problem]]]
) -> Iterator[Problem]:
    """The problems of these subjects that are still there on the last look."""
    usernames = _usernames()
    for batch in batches(pks):
        found = problems_of(batch, usernames)
        for _look in range(reading.LOOKS - 1):
            if not found:
                break
            found = problems_of(sorted(found), _usernames())
        yield from (problem for pk in sorted(found) for problem in found[pk])


def _items() -> Iterator[Problem]:
    return _looked_at(list(Item.objects.order_by("pk").values_list("pk", flat=True)), _item_problems)


def _item_problems(pks: Sequence[int], usernames: Mapping[int, str]) -> dict[int, list[Problem]]:
    """The problems of the items that have any. The number of queries does not depend on how many items there are."""
    chains = reading.item_chains(pks)
    labels = _grouped(Label.objects.filter(item_id__in=pks).values_list("item_id", "entry_id", "code"))
    joined = _grouped(
        Membership.objects.filter(item_id__in=pks).values_list("item_id", "entry_id", "gear_set__set_no")
    )
    stored = ItemState.objects.select_related("item__item_type").in_bulk(pks)
    found = {}
    for pk, chain in chains.items():
        if broken := chain.first_break(usernames):
            found[pk] = [_break(chain, broken)]
            continue
        wrong = [*_index_problems(chain, labels[pk], joined[pk]), *_state_problems(chain, stored[pk])]
        if wrong:
            found[pk] = wrong
    return found


def _grouped(rows: Iterable[tuple]) -> dict[int, dict]:
    groups: dict[int, dict] = defaultdict(dict)
    for pk, entry, value in rows:
        groups[pk][entry] = value
    return groups


def _index_problems(chain: Chain, labels: Mapping, joined: Mapping) -> Iterator[Problem]:
    """Rows that find labels and set members must say what the entries say, no more and no less."""
    for kind, fact, rows, code, name in (
        ("labelled", "code", labels, "LABEL_DIFFERS", _("label")),
        ("joined_set", "set_no", joined, "MEMBERSHIP_DIFFERS", _("set membership")),
    ):
        stated = {entry.id: entry.facts[fact] for entry in chain.entries if entry.kind == kind}
        for entry in sorted(stated.keys() | rows.keys(), key=str):
            if stated.get(entry) != rows.get(entry):
                yield _problem(
                    chain.subject,
                    code,
                    _("the row that finds its %(name)s is not what entry %(entry)s says.")
                    % {"name": name, "entry": entry},
                )


def _state_problems(chain: Chain, stored: ItemState) -> Iterator[Problem]:
    item_no = chain.subject.removeprefix("item:")
    folded = fold.fold(item_no, map(line_of, chain.entries), as_of_at=FOR_EVER, known_at=FOR_EVER)
    if fold.to_json(folded) != stored.facts:
        yield Problem(
            chain.subject,
            "STATE_DIFFERS",
            _(
                "%(subject)s: its state is not what its entries fold to. Run manage.py rebuild_states, then this again."
            )
            % {"subject": chain.subject},
        )
    for name, value in _in_book(stored.item).items():
        if folded.identity and not _same(folded.identity.get(name), value):
            what = _("its %(name)s in the book is not what its entries say.") % {"name": name}
            yield _problem(chain.subject, "BOOK_DIFFERS", what)


def _in_book(item: Item) -> dict[str, object]:
    """What the columns by which the item is found say it is, under the names of its identity."""
    kept = {name: getattr(item.item_type, name) for name in ItemType.SHARED}
    kept["class"] = kept.pop("cls")
    return kept | {name: getattr(item, name) for name in ("serial", "hand", "lot", "made_on")}


def _same(stated: str | int | None, kept: object) -> bool:
    if isinstance(kept, Decimal) and stated is not None:
        return Decimal(stated) == kept
    return (stated or "") == (kept.isoformat() if isinstance(kept, date) else kept or "")


def _sets() -> Iterator[Problem]:
    return _looked_at(list(GearSet.objects.order_by("pk").values_list("pk", flat=True)), _set_problems)


def _set_problems(pks: Sequence[int], usernames: Mapping[int, str]) -> dict[int, list[Problem]]:
    rows = GearSet.objects.in_bulk(pks)
    found = {}
    for pk, chain in reading.set_chains(rows.values()).items():
        if broken := chain.first_break(usernames):
            found[pk] = [_break(chain, broken)]
            continue
        stated = fold.set_stated(map(line_of, chain.entries), as_of_at=FOR_EVER, known_at=FOR_EVER)
        row = rows[pk]
        if stated != {"set_no": row.set_no, "kind": row.kind, "required": row.required}:
            found[pk] = [
                _problem(
                    chain.subject,
                    "SET_DIFFERS",
                    _("its kind or number of pieces is not what its entries say."),
                )
            ]
    return found


def _site() -> Iterator[Problem]:
    for look in range(reading.LOOKS):
        chain = reading.site_chain()
        broken = chain.first_break(_usernames())
        if broken is None:
            return
        if look == reading.LOOKS - 1:
            yield _break(chain, broken)


def _strays() -> Iterator[Problem]:
    """Entries of an item or a set that is not there: no chain would show them."""
    for column, book in (("item_id", Item), ("gear_set_id", GearSet)):
        stray = Entry.objects.filter(**{f"{column}__isnull": False}).exclude(
            **{f"{column}__in": book._default_manager.values("pk")}
        )
        for entry, number in stray.values_list("pk", column):
            yield _problem(
                "table:gear_entry",
                "ENTRY_STRAY",
                _("entry %(entry)s belongs to number %(number)s, which is not there.")
                % {"entry": entry, "number": number},
            )


def _files() -> Iterator[Problem]:
    for file in ImportedFile.objects.order_by("at", "pk").iterator(chunk_size=5):
        if sha256(bytes(file.content)).hexdigest() != file.sha256:
            yield _problem(
                f"file:{file.pk}",
                "FILE_CHANGED",
                _("the imported file %(name)s is not the one that came.") % {"name": file.name},
            )


def _triggers() -> Iterator[Problem]:
    for name in guards.missing(connection):
        yield Problem(
            f"trigger:{name}",
            "TRIGGER_MISSING",
            _(
                "The database trigger %(name)s, which refuses changes to the record, is missing, switched off or "
                "another. Run manage.py migrate to put it back, and find out who removed it."
            )
            % {"name": name},
        )


def _break(chain: Chain, found: Break) -> Problem:
    words = {
        "ENTRY_MISSING": _(
            "entry number %(position)s is missing, or another (%(entry)s) stands in its place."
        ),
        "ENTRY_MISPLACED": _("entry number %(position)s (%(entry)s) does not follow the one before it."),
        "ENTRY_CHANGED": _("entry number %(position)s (%(entry)s) was changed after it was recorded."),
        "ENTRY_UNREADABLE": _("a value in its entries cannot be read."),
        "STATE_MISSING": _("the row that counts its entries is missing."),
        "HEAD_DIFFERS": _(
            "%(count)s entries were recorded and %(position)s are there, or the newest is not the one recorded last."
        ),
    }
    values = {"position": found.position, "entry": found.entry, "count": chain.count}
    return _problem(chain.subject, found.code, words[found.code] % values)


def _problem(subject: str, code: str, what: str) -> Problem:
    advice = _("Rely on nothing it says; compare it with a backup from before the change.")
    return Problem(subject, code, f"{subject}: {what} {advice}")


def _mark(subjects: set[str], windows: Sequence[Window]) -> None:
    """Mark what cannot be relied upon: what has a problem itself, and what a broken seal no longer vouches for."""
    items = set(_numbers(Item, "item_no", subjects, "item:"))
    sets = set(_numbers(GearSet, "set_no", subjects, "set:"))
    site = "site" in subjects
    for after, until in windows:
        doubtful = Entry.objects.filter(
            recorded_at__lte=until, **({"recorded_at__gt": after} if after else {})
        )
        items |= set(doubtful.filter(item__isnull=False).values_list("item_id", flat=True))
        sets |= set(doubtful.filter(gear_set__isnull=False).values_list("gear_set_id", flat=True))
        site = site or doubtful.filter(item__isnull=True, gear_set__isnull=True).exists()
    _mark_rows(ItemState, items)
    _mark_rows(GearSet, sets)
    SiteHead.objects.update(chain_ok=not site)


def _numbers(model: type, column: str, subjects: Iterable[str], prefix: str) -> Iterator[int]:
    names = sorted(subject.removeprefix(prefix) for subject in subjects if subject.startswith(prefix))
    for batch in batches(names):
        yield from model.objects.filter(**{f"{column}__in": batch}).values_list("pk", flat=True)


def _mark_rows(model: type, broken: set[int]) -> None:
    marked = set(model.objects.filter(chain_ok=False).values_list("pk", flat=True))
    for batch in batches(sorted(broken - marked)):
        model.objects.filter(pk__in=batch).update(chain_ok=False)
    for batch in batches(sorted(marked - broken)):
        model.objects.filter(pk__in=batch).update(chain_ok=True)
