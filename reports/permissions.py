"""Who may read which report, and whose gear it then shows."""

from __future__ import annotations

from gear.models import User
from gear.permissions import ACTS, ANYONE, EVERYONE, OFFICE
from reports.rules.overdue import Scope

READERS = OFFICE | {"foreman"}
OVERDUE = ("overdue_report", *(f"overdue_report_{form}" for form in ("pdf", "csv", "xlsx", "json")))
ROUTES = {
    **{name: {"GET": READERS} for name in ("week", "exceptions", "lost_register")},
    "promise": {"POST": ACTS["promise"]},
    **{
        name: {"GET": ACTS["note_exception"], "POST": ACTS["note_exception"]}
        for name in ("exception_add", "exception_close")
    },
    **{name: {"GET": READERS} for name in ("change_out", "change_out_pdf")},
    **{name: {"GET": OFFICE} for name in ("roster", "roster_csv")},
    **{name: {"GET": READERS} for name in (*OVERDUE, "api_overdue")},
    **{name: {"GET": OFFICE} for name in ("data_quality", "data_quality_csv")},
    # Everything on record, names too: for whoever answers for the whole book (see `answers_for_all`).
    **{name: {"GET": OFFICE - {"clerk"}} for name in ("exports", "export_file", "export_program")},
    **{name: {"GET": EVERYONE} for name in ("load_sheet", "fallback_pack_truck", "fallback_packs")},
    **{
        name: {"GET": OFFICE}
        for name in ("weekly_reports", *(f"weekly_report_{form}" for form in ("pdf", "csv", "text")))
    },
    "stops_in_hands": {"GET": READERS, "POST": ACTS["confirm_stop"]},
    "mail_recipients": {"GET": OFFICE, "POST": ACTS["set_mail"]},
    **{name: {"GET": OFFICE} for name in ("statistics", "statistics_csv", "statistics_pdf")},
    **{name: {"GET": OFFICE} for name in ("coming_weeks", "coming_weeks_csv", "due_list_csv")},
    "capacities": {"GET": OFFICE, "POST": ACTS["plan_capacity"]},
    # The record of an item is open to everybody who signs in, and so is the paper of the tests in it.
    **{name: {"GET": EVERYONE} for name in ("certificates", "certificates_pdf", "certificate")},
    **{name: {"GET": OFFICE} for name in ("fleet_as_of", "fleet_as_of_csv")},
    **{
        f"{name}{form}": {"GET": OFFICE}
        for name in ("corrections_log", "rule_changes", "refusals_log")
        for form in ("", "_csv")
    },
    # Whoever may read may draw a sample and work out what it proves: that records nothing.
    **{name: {"GET": OFFICE} for name in ("audit_sample", "audit_sample_pdf", "audit_sample_csv")},
    **{name: {"GET": OFFICE, "POST": ACTS["enter_audit"]} for name in ("audit_samples", "audit_results")},
    # What was true of a piece and who was told what: for whoever looks into it.
    **{name: {"GET": OFFICE} for name in ("record_of", "record_pdf")},
    **{name: {"GET": ANYONE} for name in ("record_check", "record_program")},
    # Whoever holds the paper may check it.
    **{name: {"GET": ANYONE} for name in ("certificate_check", "certificate_program")},
}

# The auditor and the administrator answer for the whole book, whatever depot they sit in.
_BOUND_TO_DEPOT = frozenset({"clerk", "supervisor"})


def scope_of(user: User) -> Scope:
    """Whose gear a person sees in a report: a foreman his crew's, clerk and supervisor their depot's, others all.

    A foreman without a crew sees nothing.
    """
    if user.role == "foreman":
        return Scope("crew", user.crew.name if user.crew else None)
    if user.role in _BOUND_TO_DEPOT and user.depot:
        return Scope("depot", user.depot.name)
    return Scope()


def answers_for_all(user: User) -> bool:
    """Whether a person may take away what is on file of everybody: whoever is bound to a depot may not."""
    return scope_of(user) == Scope()
