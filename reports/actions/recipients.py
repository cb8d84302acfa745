"""Who is mailed besides the supervisors, and at which hours: rows that are kept, of which the newest counts."""

from __future__ import annotations

from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals
from gear.actions.refusals import FieldRefused
from gear.ledger import append
from gear.models import Depot
from gear.permissions import check_can_place
from reports.models import MailAddress, MailPlan
from reports.queries.recipients import Plan, listed, plan

LONGEST = 254  # characters of an address (RFC 5321, 4.5.3.1.3, less the brackets)


class MailRefused(FieldRefused):
    """A choice of who is mailed that cannot be kept. `field` is the form field at fault."""

    SENTENCES: ClassVar = {
        "ADDRESS_WRONG": ("address", _("This is no mail address. Write it as in safety@example.org.")),
        "NOT_LISTED": ("address", _("This address is not on the list.")),
        "HOURS_WRONG": ("monday_hour", _("Hours are 0 to 23.")),
    }


def list_address(address: str, *, depot: Depot | None = None, act: Act) -> None:
    """Mail the report to an address from now on: of the whole book, or of one depot. The same again changes nothing.

    Whoever is bound to a depot lists addresses for its report alone. Raises MailRefused and NotAllowed.
    """
    address = address.strip()
    with keeping_refusals("set_mail", address, act):
        permissions.check_can(act.by, "set_mail")
        check_can_place(act.by, depot)
        try:
            validate_email(address)
        except ValidationError:
            raise MailRefused("ADDRESS_WRONG") from None
        if len(address) > LONGEST:
            raise MailRefused("ADDRESS_WRONG")
        known = _known(address)
        if known is not None and known.depot != depot:
            check_can_place(
                act.by, known.depot
            )  # whoever gets the whole book is not cut down to one depot by it
        if known is None or known.depot != depot:
            append(MailAddress(id=act.id, by=act.by, address=address, depot=depot, mailed=True))


def strike_address(address: str, *, act: Act) -> None:
    """Mail nothing to an address any more. It stays on record. Raises MailRefused and NotAllowed."""
    with keeping_refusals("set_mail", address, act):
        permissions.check_can(act.by, "set_mail")
        known = _known(address)
        if known is None:
            raise MailRefused("NOT_LISTED")
        check_can_place(act.by, known.depot)
        append(MailAddress(id=act.id, by=act.by, address=known.address, depot=known.depot, mailed=False))


def set_plan(chosen: Plan, *, act: Act) -> None:
    """Set the hour of the report and the quiet hours. Whoever is bound to a depot may not: they hold for all.

    Raises MailRefused and NotAllowed.
    """
    with keeping_refusals("set_mail", "hours", act):
        permissions.check_can(act.by, "set_mail")
        check_can_place(act.by, None)
        hours = (chosen.monday_hour, chosen.quiet_from, chosen.quiet_until)
        if not all(0 <= hour <= 23 for hour in hours):
            raise MailRefused("HOURS_WRONG")
        if chosen != plan():
            append(
                MailPlan(
                    id=act.id,
                    by=act.by,
                    monday_hour=chosen.monday_hour,
                    quiet_from=chosen.quiet_from,
                    quiet_until=chosen.quiet_until,
                )
            )


def _known(address: str) -> MailAddress | None:
    """The address as it is listed now."""
    wanted = address.strip().casefold()
    return next((one for one in listed() if one.address.casefold() == wanted), None)
