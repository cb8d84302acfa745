"""Where holders belong today, and whom to call about what they have."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import F
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from gear.models import Crew, Holder, User
from gear.rules.whereabouts import Place


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
