"""The kit of the site, and people who leave: choices of those who manage people, each kept on the site's record."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.db import IntegrityError, transaction
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals
from gear.actions.people import note_change
from gear.actions.refusals import FieldRefused
from gear.models import Holder, KitLine
from gear.rules.kits import LARGEST, LONGEST, Need


class KitRefused(FieldRefused):
    """A list or a leave that may not be kept."""

    SENTENCES = {
        "NO_LINES": ("", _("A kit has at least one line.")),
        "TOO_MANY_LINES": ("", _("A kit has at most 12 lines.")),
        "TWICE": ("", _("One kind and class stands here twice. Put them together.")),
        "COUNT_WRONG": ("", _("Say how many: 1 to 20.")),
        "CHANGED": ("", _("Somebody changed the list at the same moment. Look at it again.")),
        "NOT_A_PERSON": ("", _("Only a person leaves.")),
    }


def set_kit(needs: Sequence[Need], *, act: Act) -> None:
    """Put this list in the place of the one before."""
    with keeping_refusals("manage_people", "kit", act):
        permissions.check_can(act.by, "manage_people")
        _check(needs)
        rows = [KitLine(kind=one.kind, cls=one.cls, count=one.count, place=n) for n, one in enumerate(needs)]
        try:
            with transaction.atomic():
                KitLine.objects.all().delete()
                KitLine.objects.bulk_create(rows)
        except IntegrityError:
            raise KitRefused("CHANGED") from None
        note_change(
            act, "kit_changed", note="; ".join(f"{one.count} {one.kind} {one.cls}".strip() for one in needs)
        )


def _check(needs: Sequence[Need]) -> None:
    if not needs:
        raise KitRefused("NO_LINES")
    if len(needs) > LONGEST:
        raise KitRefused("TOO_MANY_LINES")
    if len({(one.kind, one.cls) for one in needs}) != len(needs):
        raise KitRefused("TWICE")
    if not all(1 <= one.count <= LARGEST for one in needs):
        raise KitRefused("COUNT_WRONG")


def set_leaving(holder: Holder, on: date | None, *, act: Act) -> None:
    """Say on which day a person leaves, or with None that they stay. Their gear stays on record until it is moved."""
    with keeping_refusals("manage_people", holder.name, act):
        if holder.kind != "person":
            raise KitRefused("NOT_A_PERSON")
        role = holder.person.role if holder.person else "worker"
        home = holder.depot or (holder.crew.depot if holder.crew else None)
        permissions.check_can_manage(act.by, role=role, depot=home)
        Holder.objects.filter(pk=holder.pk).update(leaving_on=on)
        note = f"{holder.name}: {on.isoformat() if on else '-'}"
        note_change(act, "leaving", person=holder.person, note=note)
