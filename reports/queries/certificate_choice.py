"""Which tests somebody means who asks for certificates: by item, report, day, holder."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.db.models import QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.models import Holder, Item
from gear.queries.entry_words import holder_word
from gear.queries.identified import meant_by
from inspections.models import ElectricalTest
from reports.queries import certificates

LONGEST = 8000  # symbols of what is typed: some hundred item numbers
WAYS: Mapping[str, str | Promise] = {
    "item": gettext_lazy("Item, serial or label; several with blanks between"),
    "session": gettext_lazy("Bench session"),
    "report": gettext_lazy("Report number"),
    "tested_on": gettext_lazy("Day of the tests"),
    "received_on": gettext_lazy("Day of receiving"),
    "holder": gettext_lazy("Held by: person, truck, crew, shelf"),
}


class NothingMeant(Exception):
    """What was typed leads to nothing, or to more than one thing. The message says what to type instead."""


@dataclass(frozen=True)
class Choice:
    """The tests that are meant, under a title. `untested` are the items meant that have no test on record."""

    title: str
    tests: QuerySet[ElectricalTest]
    items: QuerySet[Item] | None = None

    def untested(self) -> list[str]:
        """The numbers of the items that have no test which counts."""
        if self.items is None:
            return []
        tested = certificates.tests().filter(item__in=self.items).values("item_id")
        return list(self.items.exclude(pk__in=tested).values_list("item_no", flat=True))


def chosen(way: str, what: str) -> Choice:
    """The tests meant by a way of WAYS and what was typed. Raises NothingMeant."""
    what = " ".join(what.replace("\x00", "").split())[:LONGEST]
    if way not in WAYS or not what:
        raise NothingMeant(_("Say what to look for."))
    return _CHOICES[way](what)


def _by_item(what: str) -> Choice:
    whole = meant_by(what, base_url=settings.BASE_URL)
    if whole.items:
        return Choice(what, certificates.of_item(whole.items), _items(whole.items))
    found: list[Item] = []
    unknown: list[str] = []
    for one in what.replace(",", " ").replace(";", " ").split():
        meant = meant_by(one, base_url=settings.BASE_URL)
        found += meant.items
        if not meant.items:
            unknown.append(one)
    if unknown:
        raise NothingMeant(_("%s is not in the book. Check the number.") % ", ".join(unknown[:5]))
    items = _items(found)
    return Choice(_("%d items") % items.count(), certificates.newest_of(items), items)


def _items(items: list[Item] | tuple[Item, ...]) -> QuerySet[Item]:
    return Item.objects.filter(pk__in=[item.pk for item in items]).order_by("item_no")


def _by_report(what: str) -> Choice:
    return Choice(_("Report %s") % what, certificates.of_report(what))


def _by_session(what: str) -> Choice:
    tests = certificates.tests().filter(session__number__iexact=what).order_by(*certificates.ITEM_ORDER)
    return Choice(_("Bench session %s") % what, tests)


def _by_day_of_test(what: str) -> Choice:
    day = _day(what)
    tests = certificates.tests().filter(tested_on=day).order_by(*certificates.ITEM_ORDER)
    return Choice(_("Tests of %s") % wording.day(day), tests)


def _by_day_of_receipt(what: str) -> Choice:
    day = _day(what)
    items = certificates.received_on(day)
    return Choice(_("Received on %s") % wording.day(day), certificates.newest_of(items), items)


def _by_holder(what: str) -> Choice:
    found = list(Holder.objects.filter(name__iexact=what).select_related("crew").order_by("kind", "pk"))
    if not found:
        found = list(Holder.objects.filter(name__icontains=what).select_related("crew").order_by("name")[:6])
    if len(found) != 1:
        names = ", ".join(one.name for one in found)
        raise NothingMeant(
            _("Several fit: %s. Type the whole name.") % names
            if found
            else _("Nobody and nothing of the name %s holds gear.") % what
        )
    items = certificates.held_by(found[0])
    title = _("Gear held by %s") % holder_word(found[0].as_fact())
    return Choice(title, certificates.newest_of(items), items)


def _day(what: str) -> date:
    try:
        return date.fromisoformat(what)
    except ValueError:
        raise NothingMeant(_("%s is no day. Write it as 2026-09-14.") % what[:40]) from None


_CHOICES: Mapping[str, Callable[[str], Choice]] = {
    "item": _by_item,
    "session": _by_session,
    "report": _by_report,
    "tested_on": _by_day_of_test,
    "received_on": _by_day_of_receipt,
    "holder": _by_holder,
}
