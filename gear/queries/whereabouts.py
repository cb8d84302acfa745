"""Where holders belong today, and whom to call about what they have."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import F
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from gear.models import Crew, Holder, Item, User
from gear.queries.fleet import judged
from gear.queries.questions import Question
from gear.rules.whereabouts import Found, Place, place_of

AT_ONCE = 2000  # pieces asked about in one statement


@dataclass(frozen=True)
class Phone:
    """Whom to call about a crew's gear: the names of its foremen and the number on record, either may be empty."""

    foremen: tuple[str, ...] = ()
    number: str = ""

    @property
    def dial(self) -> str:
        """The number as a telephone takes it."""
        return "".join(sign for sign in self.number if sign in "+0123456789")

    @property
    def sentence(self) -> str:
        names = ", ".join(self.foremen)
        if names and self.number:
            return _("Call %(names)s: %(number)s") % {"names": names, "number": self.number}
        if names:
            return _("Call %s. No number on record.") % names
        return _("Call %s") % self.number if self.number else _("No foreman and no number on record.")


def phones() -> dict[str, Phone]:
    """Whom to call, by name of crew, as on record today."""
    foremen: dict[str, list[str]] = {}
    people = User.objects.filter(role="foreman", is_active=True).select_related("crew")
    for one in people.order_by("last_name", "username"):
        if one.crew:
            foremen.setdefault(one.crew.name, []).append(one.name)
    return {
        name: Phone(tuple(foremen.get(name, ())), number)
        for name, number in Crew.objects.values_list("name", "phone")
    }


def places() -> dict[tuple[str, str], Place]:
    """Where every holder belongs today. A person who changed crews is called through the new foreman."""
    crew = Coalesce(F("person__crew__name"), F("crew__name"))
    depot = Coalesce(
        F("person__crew__depot__name"), F("person__depot__name"), F("depot__name"), F("crew__depot__name")
    )
    return {
        (kind, name): Place(crew_name, depot_name)
        for kind, name, crew_name, depot_name in Holder.objects.values_list("kind", "name", crew, depot)
    }


def pieces(pks: Iterable[int], asked: Question, *, about: Mapping[int, Any] | None = None) -> list[Found]:
    """The pieces where they are now, each with its answer, in order of item number. `about` is by primary key.

    The number of queries grows only by AT_ONCE pieces.
    """
    belonging, told, wanted = places(), about or {}, sorted(set(pks))
    found = []
    for start in range(0, len(wanted), AT_ONCE):
        items = Item.objects.filter(pk__in=wanted[start : start + AT_ONCE])
        by_number = dict(items.values_list("item_no", "pk"))
        found += [
            Found(answer, facts, place_of(facts.holder, belonging), told.get(by_number[answer.item_no]))
            for answer, facts in judged(items, asked)
        ]
    return sorted(found, key=lambda one: one.item_no)


def items_in(found: Iterable[Found]) -> list[Item]:
    """The items of a list, for an act on all of them."""
    numbers = [one.item_no for one in found]
    return [
        item
        for start in range(0, len(numbers), AT_ONCE)
        for item in Item.objects.filter(item_no__in=numbers[start : start + AT_ONCE])
    ]
