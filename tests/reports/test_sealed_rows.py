"""The daily seal covers every column of every sealed table of reports."""

# ruff: noqa: S608 - what tampers with every column names the columns itself
import pytest
from django.apps import apps
from django.db import connection
from django.utils import timezone

from gear import guards
from gear.ledger import append, make_seal, verify
from gear.models.evidence import Immutable, Sealed
from tests.reports.sealed_rows import MAKE

pytestmark = pytest.mark.django_db


def test_every_sealed_table_of_reports_has_a_row_here():
    assert {
        model for model in apps.get_app_config("reports").get_models() if issubclass(model, Sealed)
    } == set(MAKE)


@pytest.mark.parametrize("model", MAKE, ids=lambda model: model.__name__)
def test_no_row_is_stored_past_the_writers(model):
    row = MAKE[model]()
    row.at = timezone.now()
    with pytest.raises(Immutable, match=r"gear\.ledger\.append"):
        row.save()


@pytest.mark.parametrize("model", MAKE, ids=lambda model: model.__name__)
def test_what_a_seal_covers_tells_of_every_column(model):
    """The leaf of a row changes with any of its values, so that an edit of any column breaks the seal."""
    from gear.ledger.seals import leaf_of

    row = MAKE[model]()
    append(row)
    whole = leaf_of(row)
    for field in model._meta.fields:
        if field.name in ("by", "item", "content"):
            continue  # by name, by number and by their own hash, as the twin test of gear shows
        stated = getattr(row, field.attname)
        setattr(row, field.attname, "another")
        assert leaf_of(row) != whole, field.name
        setattr(row, field.attname, stated)
    assert leaf_of(row) == whole


@pytest.mark.parametrize("model", MAKE, ids=lambda model: model.__name__)
def test_a_deleted_row_behind_a_seal_is_found(past_the_guards, model):
    append(MAKE[model]())
    make_seal(timezone.now())
    assert verify.verify() == []
    past_the_guards(f"DELETE FROM {model._meta.db_table}")
    assert [problem.code for problem in verify.verify()] == ["ROWS_COUNT"]
    assert guards.missing(connection) == []
