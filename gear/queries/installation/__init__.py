"""Checks of this installation that the book itself can make, for `gear.queries.health`."""

from gear.queries.installation.database import check_database
from gear.queries.installation.machine import check_clock, check_disk
from gear.queries.installation.nightly import check_nightly, newest_results
from gear.queries.installation.people import check_people
from gear.queries.installation.record import check_guards, check_rules, check_seals
from gear.queries.installation.setup import check_setup

# In this order: what needs no database first, then the database, which decides whether anything else can be asked.
CHECKS = (
    check_disk,
    check_database,
    check_guards,
    check_clock,
    check_rules,
    check_seals,
    check_nightly,
    check_people,
    check_setup,
)

__all__ = [
    "CHECKS",
    "check_clock",
    "check_database",
    "check_disk",
    "check_guards",
    "check_nightly",
    "check_people",
    "check_rules",
    "check_seals",
    "check_setup",
    "newest_results",
]
