"""One row for each table of promises and exceptions, ready to be stored."""

from gear.ledger import append
from gear.models import Item
from reports.models import ExceptionEnd, ExceptionNote, Promise
from tests import builders


def promise(**columns):
    known = {
        "by": builders.person("clerk", "orla"),
        "item": Item.objects.order_by("pk").first() or builders.blanket("B-1"),
        "owner": builders.person("foreman", "bertrand"),
        "promised_on": builders.today(),
    }
    return Promise(**{**known, **columns})


def exception_note(**columns):
    ines = builders.person("supervisor", "ines")
    known = {
        "by": ines,
        "about": "all",
        "name": "Storm week",
        "reason": "The lab is under water.",
        "begins_on": builders.today(),
        "ends_on": builders.today(),
        "approved_by": ines,
    }
    return ExceptionNote(**{**known, **columns})


def exception_end(**columns):
    if "exception" not in columns:
        append(columns.setdefault("exception", exception_note()))
    known = {"by": builders.person("supervisor", "ines"), "reason": "The lab works again."}
    return ExceptionEnd(**{**known, **columns})


MAKE = {Promise: promise, ExceptionNote: exception_note, ExceptionEnd: exception_end}
