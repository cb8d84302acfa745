"""Every constraint of promises and exceptions has a case here that the database itself refuses, by its name."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from gear import guards
from gear.ledger import append
from tests import builders
from tests.reports.loop_rows import MAKE, exception_end, exception_note

pytestmark = pytest.mark.django_db


def closed_twice():
    first = exception_end()
    append(first)
    append(exception_end(exception=first.exception))


OFFENDERS = {
    "exceptionnote_about_one_thing": lambda: append(exception_note(about="crew")),
    "exceptionnote_named": lambda: append(exception_note(name="")),
    "exceptionnote_reason_given": lambda: append(exception_note(reason="")),
    "exceptionnote_ends_after_it_begins": lambda: append(
        exception_note(ends_on=builders.today() - timedelta(days=1))
    ),
    "exceptionend_reason_given": lambda: append(exception_end(reason="")),
}


def test_every_named_constraint_has_a_case():
    assert {constraint.name for model in MAKE for constraint in model._meta.constraints} == set(OFFENDERS)


@pytest.mark.parametrize("name", OFFENDERS)
def test_the_database_refuses_what_the_constraint_forbids(name):
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        OFFENDERS[name]()


@pytest.mark.parametrize("about", ["item", "crew", "truck"])
def test_what_an_exception_is_about_is_named_alone(about):
    """A note about everything that names a crew as well would be read as one about the crew."""
    named = {
        "item": builders.blanket("B-1"),
        "crew": builders.crew(),
        "truck": builders.holder("truck", "T-1"),
    }
    append(exception_note(about=about, **{about: named[about]}))
    with pytest.raises(IntegrityError), transaction.atomic():
        append(exception_note(about="all", **{about: named[about]}))


def test_an_exception_is_closed_once():
    with pytest.raises(IntegrityError, match=f"UNIQUE|unique|{guards.MESSAGE}"), transaction.atomic():
        closed_twice()
