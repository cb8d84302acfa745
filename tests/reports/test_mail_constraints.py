"""Every constraint of the tables of the mail has a case here that the database itself refuses, by its name."""

import pytest
from django.db import IntegrityError, transaction

from tests.gear.test_constraints import said
from tests.reports.mail_rows import (
    MAKE,
    mail_address,
    mail_attempt,
    mail_outcome,
    mail_plan,
    notice,
    report_on_file,
    stop_confirmation,
    stored,
    weekly_file,
    weekly_report,
)

pytestmark = pytest.mark.django_db


def twice(make, **columns):
    for _one in range(2):
        stored(make(**columns))


OFFENDERS = {
    "mailaddress_has_an_at_sign": lambda: stored(mail_address(address="ines")),
    "mailplan_hours_of_a_day": lambda: stored(mail_plan(monday_hour=24)),
    "mailattempt_number_unique": lambda: twice(mail_attempt, message_id="<one@example.org>"),
    "mailattempt_number_from_one": lambda: stored(mail_attempt(number=0)),
    "mailattempt_of_one_mail": lambda: stored(mail_attempt(notice=stored(notice()), report=report_on_file())),
    "mailoutcome_outcome_known": lambda: stored(mail_outcome(outcome="perhaps", detail="x")),
    "mailoutcome_failure_says_why": lambda: stored(mail_outcome(outcome="later")),
    "weeklyreport_week_depot_unique": lambda: twice(weekly_report),
    "weeklyreport_of_an_iso_week": lambda: stored(weekly_report(week="Sept")),
    "weeklyreport_known_from_its_moment": lambda: stored(
        weekly_report(known_at=weekly_report().as_of_at.replace(year=2001))
    ),
    "weeklyfile_kind_unique": lambda: twice(weekly_file),
    "weeklyfile_kind_known": lambda: stored(weekly_file(kind="exe")),
    "weeklyfile_holds_something": lambda: stored(weekly_file(size=0)),
    "notice_number_unique": lambda: twice(notice),
    "notice_one_digest_a_day": lambda: stored(notice(urgent=False)),
    "notice_says_something": lambda: stored(notice(body="")),
    "stopconfirmation_says_how": lambda: stored(stop_confirmation(note="")),
}


def test_every_named_constraint_has_a_case():
    assert {constraint.name for model in MAKE for constraint in model._meta.constraints} == set(OFFENDERS)


@pytest.mark.parametrize("name", OFFENDERS)
def test_the_database_refuses_what_the_constraint_forbids(name):
    with pytest.raises(IntegrityError) as refusal, transaction.atomic():
        OFFENDERS[name]()
    assert name in said(refusal.value, name)


def test_one_attempt_has_one_outcome():
    first = stored(mail_outcome())
    with pytest.raises(IntegrityError), transaction.atomic():
        stored(mail_outcome(attempt=first.attempt))
