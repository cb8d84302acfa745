"""Every constraint of the tables of audits has a case here that the database itself refuses, by its name."""

import pytest
from django.db import IntegrityError, transaction

from gear.ledger import append
from reports.models import AuditResult, AuditSample
from tests.reports.sealed_rows import result, sample

pytestmark = pytest.mark.django_db

# name of the constraint: a row that it refuses
CASES = {
    "auditsample_start_number_given": lambda: sample(start=""),
    "auditsample_strata_known": lambda: sample(strata="crew"),
    "auditsample_confidence_known": lambda: sample(confidence=50),
    "auditsample_drawn_of_population": lambda: sample(size=301),
    "auditresult_found_known": lambda: result(found="fine"),
    "auditresult_somebody_looked": lambda: result(looked_by=""),
}


@pytest.mark.parametrize("name", CASES)
def test_the_database_refuses_it(name):
    row = CASES[name]()
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        append(row)


def test_every_constraint_has_a_case():
    assert {one.name for model in (AuditSample, AuditResult) for one in model._meta.constraints} == set(CASES)
