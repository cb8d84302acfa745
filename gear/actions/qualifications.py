"""Who may accept gear by eye at the tool room, and until when: an entry of the site and a row beside it."""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals, reason_in
from gear.actions.people import details_of, note_change
from gear.actions.refusals import FieldRefused
from gear.models import Qualification, User

LONGEST_DAYS = 5 * 366


class QualificationRefused(FieldRefused):
    """A qualification that may not be entered."""

    SENTENCES = {
        "OWN_QUALIFICATION": ("person", _("Nobody qualifies themselves. Ask another supervisor.")),
        "ENDS_BEFORE_IT_BEGINS": ("until_on", _("The last day lies before the first. Check both.")),
        "TOO_LONG": (
            "until_on",
            _("A qualification runs for 5 years at most. Enter a shorter one and renew it."),
        ),
        "NOT_ACTIVE": ("person", _("This person is deactivated. Reactivate them first.")),
    }


def qualify(person: User, *, from_on: date, until_on: date, reason: str, act: Act) -> Qualification:
    """Enter that a person may accept by eye from one day through another; it replaces what was on file.

    Raises QualificationRefused, Refused without a reason, or NotAllowed.
    """
    with keeping_refusals("qualify", person.username, act):
        permissions.check_can(act.by, "qualify")
        permissions.check_can_manage(act.by, role=person.role, depot=details_of(person).home)
        if act.by == person:
            raise QualificationRefused("OWN_QUALIFICATION")
        if not person.is_active:
            raise QualificationRefused("NOT_ACTIVE")
        if until_on < from_on:
            raise QualificationRefused("ENDS_BEFORE_IT_BEGINS")
        if (until_on - from_on).days > LONGEST_DAYS:
            raise QualificationRefused("TOO_LONG")
        note = f"{from_on.isoformat()} .. {until_on.isoformat()}: {reason_in(reason)}"
        entry = note_change(act, "qualified", person=person, note=note)
        row = Qualification(person=person, from_on=from_on, until_on=until_on, entry=entry)
        row.save()
        return row
