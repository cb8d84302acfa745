"""Who may do what. Acts are checked in actions; routes by the gate in gear.site, which denies what is not listed."""

from __future__ import annotations

from django.utils.translation import gettext as _

from gear.models import ROLE_NAMES, User

WORKING = frozenset({"worker", "foreman", "clerk", "supervisor"})
CLERK = frozenset({"clerk"})
OFFICE = frozenset({"clerk", "supervisor", "auditor", "administrator"})
EVERYONE = WORKING | OFFICE
ANYONE = EVERYONE | {"anonymous"}

# act: roles. The auditor appears nowhere: it reads everything and changes nothing.
ACTS = {
    "hold": WORKING,
    "reject": WORKING,
    "report_lost": WORKING,
    "report_found": WORKING,
    "report_event": WORKING,
    "inspect_before_use": WORKING,
    "note": WORKING,
    "move": WORKING,
    "receive": CLERK,
    "issue": CLERK,
    "mark_needs_cleaning": CLERK,
    "mark_cleaned": CLERK,
    "send_for_test": CLERK,
    "send_for_repair": CLERK,
    "destroy": CLERK,
    "mate": CLERK,
    "split": CLERK,
    "relabel": CLERK,
    "log_test": CLERK,
    "import_files": frozenset({"clerk", "administrator"}),
    "release": frozenset({"supervisor"}),
    "correct": frozenset({"clerk", "supervisor"}),
    "set_policy": frozenset({"supervisor", "administrator"}),
    "manage_people": frozenset({"supervisor", "administrator"}),
}

# url name: {method: roles}. HEAD and OPTIONS follow GET. Routes of other apps stand in their own permissions.py.
ROUTES: dict[str, dict[str, frozenset[str]]] = {}


class NotAllowed(Exception):
    """The act is refused to this person. The message says why and who may."""


def check_can(user: User | None, act: str) -> None:
    """Raise NotAllowed unless the person's role may do `act`. `None` (commands, imports) may do everything."""
    if user is None:
        return
    if not user.is_active or user.role not in ACTS[act]:
        roles = ", ".join(str(ROLE_NAMES[role]) for role in ROLE_NAMES if role in ACTS[act])
        raise NotAllowed(_("Your role may not do this. It is for: %(roles)s.") % {"roles": roles})


def can(user: User | None, act: str) -> bool:
    """The bool twin of check_can, for templates."""
    try:
        check_can(user, act)
    except NotAllowed:
        return False
    return True


def check_scope(user: User | None, depot: str | None) -> None:
    """Raise NotAllowed when a person bound to one depot writes about gear of another."""
    if user is not None and user.depot_id and depot and user.depot.name != depot:
        raise NotAllowed(_("This gear belongs to another depot. Ask its tool room."))
