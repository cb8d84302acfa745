"""Who is mailed: supervisors by their role, and addresses that were listed besides. The newest row of each counts."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.db.models import Q

from gear.models import User
from reports.models import MailAddress, MailPlan

NO_SERVER = ("filebased", "console", "dummy")  # backends of Django that reach no mail server
MONDAY_HOUR, QUIET_FROM, QUIET_UNTIL = 6, 20, 5  # common practice, no source


@dataclass(frozen=True)
class Recipient:
    """One address. `depot` is the depot whose report it gets, empty for the whole book; `name` a person's."""

    address: str
    depot: str = ""
    name: str = ""


@dataclass(frozen=True)
class Plan:
    """The hour on Monday from which the report is due, and the hours in which no notice is sent that can wait."""

    monday_hour: int = MONDAY_HOUR
    quiet_from: int = QUIET_FROM
    quiet_until: int = QUIET_UNTIL

    def is_quiet(self, hour: int) -> bool:
        """Whether an hour of the site's clock lies in the quiet hours; equal ends are none."""
        if self.quiet_from <= self.quiet_until:
            return self.quiet_from <= hour < self.quiet_until
        return hour >= self.quiet_from or hour < self.quiet_until


def plan() -> Plan:
    """The plan in force: the newest that was set, or the shipped one."""
    row = MailPlan.objects.order_by("-at", "-pk").first()
    return Plan(row.monday_hour, row.quiet_from, row.quiet_until) if row else Plan()


def supervisors() -> list[Recipient]:
    """Every supervisor who is active and has an address. One who is bound to a depot gets its report."""
    people = User.objects.filter(role="supervisor", is_active=True).exclude(email="").select_related("depot")
    return [
        Recipient(one.email, one.depot.name if one.depot else "", one.name)
        for one in people.order_by("last_name", "username")
    ]


def listed() -> list[MailAddress]:
    """The newest row of every address that was ever listed and is mailed still, in order of address."""
    newest: dict[str, MailAddress] = {}
    for row in MailAddress.objects.select_related("depot", "by").order_by("at", "pk"):
        newest[row.address.casefold()] = row
    return [newest[key] for key in sorted(newest) if newest[key].mailed]


def recipients() -> list[Recipient]:
    """Every address once. Where one is named twice, the whole book comes before a depot, a person before a list."""
    found: dict[str, Recipient] = {}
    besides = [Recipient(one.address, one.depot.name if one.depot else "") for one in listed()]
    for one in (*supervisors(), *besides):
        known = found.get(one.address.casefold())
        if known is None or (known.depot and not one.depot):
            found[one.address.casefold()] = one
    return list(found.values())


def unmailed() -> list[User]:
    """Active people who could act on a notice and have no address."""
    can_act = Q(role__in=("supervisor", "clerk", "administrator")) | Q(role="foreman", crew__isnull=False)
    return list(User.objects.filter(can_act, is_active=True, email="").order_by("last_name", "username"))


def mail_server_is_set() -> bool:
    """Whether mail leaves this machine at all: without EMAIL_URL it is kept as files."""
    return not any(one in settings.EMAIL_BACKEND for one in NO_SERVER)
