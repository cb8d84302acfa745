"""Who and what is meant at the counter: a badge, a name, or anything that is scanned."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import QuerySet

from gear.models import Holder, Item, User
from gear.queries.identified import meant_by

MOST_NAMES = 12


@dataclass(frozen=True)
class Scan:
    """What one scan means: a person, a piece on a shelf, or nothing that is known.

    `names` are the people that fit where several do; `account` is somebody to whom no gear may be issued;
    `pieces` the items of one serial where several fit.
    """

    person: Holder | None = None
    item: Item | None = None
    names: tuple[Holder, ...] = ()
    account: User | None = None
    pieces: tuple[Item, ...] = ()


def people_holding() -> QuerySet[Holder]:
    """The people to whom gear may be issued."""
    return Holder.objects.filter(kind="person", active=True).select_related("crew__depot", "depot", "person")


def scanned_at_counter(text: str, *, base_url: str) -> Scan:
    """A username or a whole name, else a piece of gear, else words of a name.

    A piece in a person's hands means that person, one anywhere else the piece itself.
    """
    typed = " ".join(text.replace("\x00", "").split())[:300]
    if not typed:
        return Scan()
    account = User.objects.filter(username__iexact=typed, is_active=True).first()
    if account is not None:
        holder = people_holding().filter(person=account).first()
        return Scan(person=holder, account=None if holder else account)
    named = list(people_holding().filter(name__iexact=typed)[:2])
    if len(named) == 1:
        return Scan(person=named[0])
    meant = meant_by(typed, base_url=base_url)
    if meant.item is not None:
        holder = people_holding().filter(itemstate__item=meant.item).first()
        return Scan(person=holder, item=meant.item)
    if meant.items:
        return Scan(pieces=meant.items)
    return _by_words(typed)


def _by_words(typed: str) -> Scan:
    found = people_holding()
    for word in typed.split()[:6]:
        found = found.filter(name__icontains=word)
    people = tuple(found.order_by("name")[:MOST_NAMES])
    return Scan(person=people[0]) if len(people) == 1 else Scan(names=people)
