"""Who may do what. Acts are checked in actions; routes by the gate in gear.site, which denies what is not listed."""

from __future__ import annotations

from django.utils.translation import gettext as _

from gear.models import ROLE_NAMES, Depot, User

WORKING = frozenset({"worker", "foreman", "clerk", "supervisor"})
CLERK = frozenset({"clerk"})
OFFICE = frozenset({"clerk", "supervisor", "auditor", "administrator"})
IMPORTERS = CLERK | {"administrator"}
EVERYONE = WORKING | OFFICE
ANYONE = EVERYONE | {"anonymous"}
MANAGERS = frozenset({"supervisor", "administrator"})

# act: roles. The auditor appears nowhere: it reads everything and changes nothing.
ACTS = {
    "hold": WORKING,
    "reject": WORKING,
    "report_lost": WORKING,
    "report_found": WORKING,
    "report_event": WORKING,
    "inspect_before_use": WORKING,
    "note": WORKING,
    "move": frozenset({"worker", "foreman", "clerk"}),
    "receive": CLERK,
    "issue": CLERK,
    "mark_needs_cleaning": CLERK,
    "mark_cleaned": CLERK,
    "look": CLERK,
    "accept_by_eye": CLERK,
    "record_repair": CLERK,
    "send_for_test": CLERK,
    "send_for_repair": CLERK,
    "destroy": CLERK,
    "mate": CLERK,
    "split": CLERK,
    "relabel": CLERK,
    "print_labels": CLERK,
    "log_test": CLERK,
    "ship": CLERK,
    "reconcile": CLERK,
    "import_files": IMPORTERS,
    "release": frozenset({"supervisor"}),
    "hold_batch": frozenset({"clerk", "supervisor"}),
    "release_batch": frozenset({"supervisor"}),
    "calibrate": frozenset({"clerk", "supervisor"}),
    "correct": frozenset({"clerk", "supervisor"}),
    "set_policy": MANAGERS,
    "manage_people": MANAGERS,
    "qualify": MANAGERS,
    "acknowledge": frozenset({"supervisor"}),
    "check_load": frozenset({"worker", "foreman", "clerk"}),
    "check_job": WORKING,
    "record_truck": frozenset({"clerk", "supervisor"}),
    "edit_load_list": frozenset({"foreman", "clerk", "supervisor"}),
    "manage_devices": frozenset({"clerk", "supervisor", "administrator"}),
    "take_in_others": frozenset({"foreman", "clerk"}),
    "keep_evidence": frozenset({"supervisor"}),
    "free_evidence": frozenset({"supervisor"}),
    "promise": frozenset({"foreman", "clerk", "supervisor"}),
    "note_exception": frozenset({"supervisor"}),
    "enter_audit": frozenset({"clerk", "supervisor"}),
    "plan_capacity": frozenset({"clerk", "supervisor"}),
    "set_mail": MANAGERS,
    "confirm_stop": frozenset({"foreman", "clerk", "supervisor"}),
    "sign_restore": frozenset({"administrator"}),
}

# Where a person is bound to a depot, these are done to its gear alone. Whoever finds a cut glove holds or rejects it,
# whichever depot it belongs to: what takes gear out of use is bound to none.
BOUND_TO_DEPOT = frozenset(
    {
        "move",
        "issue",
        "mark_needs_cleaning",
        "mark_cleaned",
        "accept_by_eye",
        "record_repair",
        "send_for_test",
        "send_for_repair",
        "destroy",
        "mate",
        "split",
        "relabel",
        "log_test",
        "release",
        "release_batch",
        "free_evidence",
        "correct",
    }
)

# url name: {method: roles}. HEAD and OPTIONS follow GET. Routes of other apps stand in their own permissions.py.
ROUTES: dict[str, dict[str, frozenset[str]]] = {
    "find": {"GET": EVERYONE},
    "tool_room": {"GET": OFFICE},
    "records": {"GET": OFFICE},
    "restored_record": {"GET": OFFICE},
    "restore_accept": {"GET": ACTS["sign_restore"], "POST": ACTS["sign_restore"]},
    "health": {"GET": OFFICE},
    "ask": {"GET": ANYONE},
    "answer": {"GET": ANYONE},
    "item": {"GET": EVERYONE},
    "label": {"GET": EVERYONE},
    "photo": {"GET": EVERYONE},  # of gear and people in their scope
    "rules_in_force": {"GET": EVERYONE},
    "import": {"GET": IMPORTERS},
    "import_gear": {"GET": IMPORTERS, "POST": IMPORTERS},
    "receive": {"GET": CLERK, "POST": CLERK},
    "evidence": {"GET": OFFICE},
    "recall": {"GET": OFFICE, "POST": ACTS["hold_batch"]},
    "recall_pdf": {"GET": OFFICE},
    "batches": {"GET": OFFICE},
    "batch": {"GET": OFFICE, "POST": ACTS["release_batch"]},
    "batch_pdf": {"GET": OFFICE},
    "receive_batch": {"GET": CLERK, "POST": CLERK},
    "labels": {"GET": CLERK, "POST": CLERK},
    **{name: {"GET": CLERK} for name in ("label_print", "label_sheet", "label_test_strip")},
    "label_log": {"GET": OFFICE},
    "correct": {"GET": ACTS["correct"], "POST": ACTS["correct"]},
    "act": {"GET": WORKING, "POST": WORKING},  # which of the acts, ACTS says
    **{
        name: {"GET": EVERYONE}
        for name in (
            "api_docs",
            "api_schema",
            "api_items",
            "api_item",
            "api_answer",
            "api_answers",
            "api_history",
        )
    },
    "api_acts": {"POST": WORKING},
    "api_moves": {"POST": WORKING},
    # An exchange is an issue and a move, and is refused to whoever may not do both.
    "counter": {"GET": CLERK, "POST": CLERK},
    "not_returned": {"GET": OFFICE},
    "find_pair": {"GET": WORKING | OFFICE},
    "odd_gloves": {"GET": OFFICE, "POST": ACTS["mate"]},
    "kits": {"GET": OFFICE},
    "kit_list": {"GET": MANAGERS, "POST": MANAGERS},
    "holder_leaving": {"GET": MANAGERS, "POST": MANAGERS},
    "move_all": {"GET": ACTS["move"], "POST": ACTS["move"]},
    "look": {"GET": CLERK, "POST": CLERK},
    "qualifications": {"GET": OFFICE},
    "qualification_add": {"GET": MANAGERS, "POST": MANAGERS},
    "patterns": {"GET": OFFICE},
    "rejects": {"GET": OFFICE},
    "red_tags": {"GET": OFFICE},
    "destruction_add": {"GET": CLERK, "POST": CLERK},
    "destruction": {"GET": OFFICE},
    "destruction_certificate": {"GET": OFFICE},
    "sightings": {"GET": OFFICE},
    "stale_uses": {"GET": OFFICE},
    "stale_use_note": {"GET": frozenset({"supervisor"}), "POST": frozenset({"supervisor"})},
    "sighting_note": {"GET": frozenset({"supervisor"}), "POST": frozenset({"supervisor"})},
    "site_policy": {"GET": OFFICE},
    "person_badge": {"POST": MANAGERS},
    # Everybody, the auditor too, chooses a password that nobody else has seen.
    "my_password": {"GET": EVERYONE, "POST": EVERYONE},
    "my_pin": {"GET": EVERYONE - {"auditor"}, "POST": EVERYONE - {"auditor"}},
    **{name: {"GET": MANAGERS | {"auditor"}} for name in ("people", "person", "crews", "depots", "holders")},
    **{
        name: {"GET": MANAGERS, "POST": MANAGERS}
        for name in (
            "person_add",
            "person_edit",
            "person_password",
            "person_pin",
            "person_active",
            "crew_add",
            "crew_edit",
            "depot_add",
            "depot_edit",
            "holder_add",
            "holder_edit",
            "site_policy_change",
            "site_pack_change",
        )
    },
}


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


def check_can_manage(user: User | None, *, role: str, depot: Depot | None) -> None:
    """Raise NotAllowed unless `user` may manage somebody of this role who belongs to this depot.

    Only an administrator makes or changes administrators. A supervisor bound to a depot manages its people alone.
    """
    check_can(user, "manage_people")
    if user is None or user.role == "administrator":
        return
    if role == "administrator":
        raise NotAllowed(_("Only an administrator may add or change an administrator."))
    check_can_place(user, depot)


def check_can_place(user: User | None, depot: Depot | None) -> None:
    """Raise NotAllowed unless `user` may manage crews, trucks, shelves and people of this depot."""
    check_can(user, "manage_people")
    if user is not None and (bound := bound_to(user)) and bound != depot:
        raise NotAllowed(_("You manage the people and places of %(depot)s only.") % {"depot": bound.name})


def bound_to(user: User) -> Depot | None:
    """The depot beyond which a person sees and manages no people; None for the whole organisation."""
    return None if user.role in ("administrator", "auditor") else user.depot


def check_scope(user: User | None, depot: str | None, *, act: str) -> None:
    """Raise NotAllowed when a person bound to one depot does a bound act to gear of another."""
    if act not in BOUND_TO_DEPOT:
        return
    if user is not None and user.depot is not None and depot and user.depot.name != depot:
        raise NotAllowed(_("This gear belongs to another depot. Ask its tool room."))
