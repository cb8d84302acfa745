"""Note an exception, and close one. Neither changes a verdict or a date: a report tells it, and that is all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import ClassVar
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.functional import Promise as Words
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions
from gear.actions.acting import Act, keeping_refusals, reason_in
from gear.actions.refusals import FieldRefused
from gear.ledger import append
from gear.models import Crew, Holder, Item, User
from reports.models import ExceptionEnd, ExceptionNote
from reports.queries.exceptions import exceptions
from reports.rules.overdue import Scope

LONGEST = timedelta(days=366)


class ExceptionRefused(FieldRefused):
    """An exception that cannot be noted or closed as it stands."""

    SENTENCES: ClassVar[Mapping[str, tuple[str, Words]]] = {
        "NO_NAME": ("name", gettext_lazy("Give the exception a short name.")),
        "NO_SUBJECT": ("subject", gettext_lazy("Nothing of this name is on record. Check the spelling.")),
        "SUBJECT_OF_ALL": (
            "subject",
            gettext_lazy("An exception about everything names nothing. Leave this empty."),
        ),
        "DAY_PAST": ("ends_on", gettext_lazy("This day is past. Give the last day on which it stands.")),
        "DAY_FAR": (
            "ends_on",
            gettext_lazy("An exception ends within a year. Note it again when it is still needed then."),
        ),
        "NO_APPROVER": (
            "approved_by",
            gettext_lazy("Whoever approves is a supervisor or an administrator who is active."),
        ),
        "NOT_IN_FORCE": ("", gettext_lazy("This exception has ended already.")),
    }


@dataclass(frozen=True)
class Stated:
    """What an exception says. `subject` is an item number or the name of a crew or truck, empty for everything."""

    about: str
    subject: str
    name: str
    reason: str
    ends_on: date
    approved_by: User


def note_exception(stated: Stated, *, today: date, scope: Scope, act: Act) -> ExceptionNote:
    """Note an exception that stands from today to its last day. Raises NotAllowed or ExceptionRefused."""
    with keeping_refusals("note_exception", stated.name, act):
        permissions.check_can(act.by, "note_exception")
        name = " ".join(stated.name.split())[:80]
        if not name:
            raise ExceptionRefused("NO_NAME")
        if stated.ends_on < today:
            raise ExceptionRefused("DAY_PAST")
        if stated.ends_on > today + LONGEST:
            raise ExceptionRefused("DAY_FAR")
        if not stated.approved_by.is_active or stated.approved_by.role not in permissions.MANAGERS:
            raise ExceptionRefused("NO_APPROVER")
        row = ExceptionNote(
            id=act.id,
            by=act.by,
            about=stated.about,
            name=name,
            reason=reason_in(stated.reason),
            begins_on=today,
            ends_on=stated.ends_on,
            approved_by=stated.approved_by,
            **_subject(stated),
        )
        append(row)
        _check_scope(row.pk, scope)
        return row


def close_exception(pk: UUID, *, reason: str, today: date, scope: Scope, act: Act) -> ExceptionEnd:
    """Close an exception before its last day. Raises NotAllowed or ExceptionRefused."""
    with keeping_refusals("note_exception", str(pk), act):
        permissions.check_can(act.by, "note_exception")
        noted = ExceptionNote.objects.get(pk=pk)
        _check_scope(pk, scope)
        if noted.ends_on < today or ExceptionEnd.objects.filter(exception=noted).exists():
            raise ExceptionRefused("NOT_IN_FORCE")
        row = ExceptionEnd(id=act.id, by=act.by, exception=noted, reason=reason_in(reason))
        try:
            with transaction.atomic():
                append(row)
        except IntegrityError:
            raise ExceptionRefused("NOT_IN_FORCE") from None
        return row


def _subject(stated: Stated) -> dict[str, Item | Crew | Holder]:
    named = " ".join(stated.subject.split())
    if stated.about == "all":
        if named:
            raise ExceptionRefused("SUBJECT_OF_ALL")
        return {}
    found: Item | Crew | Holder | None = {
        "item": Item.objects.filter(item_no=named).first,
        "crew": Crew.objects.filter(name__iexact=named).first,
        "truck": Holder.objects.filter(kind="truck", name__iexact=named).first,
    }[stated.about]()
    if found is None:
        raise ExceptionRefused("NO_SUBJECT")
    return {stated.about: found}


def _check_scope(pk: UUID, scope: Scope) -> None:
    """Whoever is bound to a depot notes and closes what concerns that depot alone."""
    one = next(one for one in exceptions() if one.key == str(pk))
    if scope.kind != "book" and (one.about == "all" or not one.concerns(scope)):
        raise permissions.NotAllowed(
            _("You answer for one depot. An exception beyond it is noted by somebody who answers for all.")
        )
