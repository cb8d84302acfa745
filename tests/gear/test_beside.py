"""Rows that stand beside entries: whoever changes, adds or removes one behind the service's back is found."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear.actions.acting import Act
from gear.actions.batches import Cause, hold_all
from gear.actions.destruction import destroy_batch
from gear.actions.qualifications import qualify
from gear.actions.sightings import acknowledge
from gear.ledger import append
from gear.ledger.beside import problems_beside
from gear.models import DestructionBatch, GivenAnswer, Qualification, SightingNote, StaleUseNote
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def rows(cast):
    """One qualification, one destroyed batch of two blankets, and a note about one of them being scanned later."""
    qualify(
        cast.orla,
        from_on=date(2026, 1, 1),
        until_on=date(2026, 12, 31),
        reason="trained on rubber goods",
        act=Act(cast.ines),
    )
    pieces = [builders.blanket(f"B-{number}") for number in (1, 2)]
    for piece in pieces:
        builders.happened(piece, "rejected", reason="cut", by=cast.dev)
    destroy_batch(
        pieces, witness=cast.dev, secret="dev keeps a secret", reason="cut in four", act=Act(cast.orla)
    )
    append(GivenAnswer(by=cast.dev, item=pieces[0], code="B-1", verdict="stop", reasons=["DESTROYED"]))
    acknowledge(pieces[0], text="found behind the bench", act=Act(cast.ines))
    look = builders.happened(builders.blanket("B-8"), "inspected", outcome="accept", scope="pre_use")
    note = builders.happened(look.item, "noted", note="asked the crew")
    StaleUseNote.objects.create(look=look, entry=note)
    cause = Cause("recall", "Recall: lot 7A")
    for number in (3, 4):
        hold_all([builders.blanket(f"B-{number}")], cause=cause, reason="notice", act=Act(cast.orla))


def told():
    return [(problem.subject, problem.code) for problem in problems_beside()]


def test_rows_that_say_what_their_entries_say_are_no_problem(rows):
    assert (
        Qualification.objects.count(),
        DestructionBatch.objects.count(),
        SightingNote.objects.count(),
    ) == (
        1,
        1,
        1,
    )
    assert told() == []


@pytest.mark.parametrize(
    ("statement", "table"),
    [
        ("UPDATE gear_qualification SET until_on = '2030-12-31'", "gear_qualification"),
        ("UPDATE gear_qualification SET person_id = (SELECT max(id) FROM gear_user)", "gear_qualification"),
        ("DELETE FROM gear_qualification", "gear_qualification"),
        ("UPDATE gear_destructionbatch SET reason = 'burned'", "gear_destructionbatch"),
        ("UPDATE gear_destructionbatch SET number = 2", "gear_destructionbatch"),
        (
            "UPDATE gear_destructionbatch SET witness_id = (SELECT id FROM gear_user WHERE username = 'marisol')",
            "gear_destructionbatch",
        ),
        ("DELETE FROM gear_destructionbatch", "gear_destructionbatch"),
        (
            "UPDATE gear_sightingnote SET entry_id = (SELECT id FROM gear_entry WHERE kind = 'destroyed' LIMIT 1)",
            "gear_sightingnote",
        ),
        (
            "UPDATE gear_staleusenote SET entry_id = (SELECT id FROM gear_entry WHERE kind = 'destroyed' LIMIT 1)",
            "gear_staleusenote",
        ),
        ("DELETE FROM gear_batchhold", "gear_batchhold"),
        ("UPDATE gear_batchhold SET item_id = (SELECT max(id) FROM gear_item)", "gear_batchhold"),
        (
            "UPDATE gear_batchhold SET batch_id = (SELECT id FROM gear_holdbatch WHERE number = 'H-0002')",
            "gear_batchhold",
        ),
    ],
)
def test_a_row_changed_or_taken_away_is_found(rows, past_the_guards, statement, table):
    past_the_guards(statement)
    assert (f"table:{table}", "ROW_DIFFERS") in told()


def test_a_row_that_no_entry_tells_of_is_found(rows, cast):
    elsewhere = Qualification.objects.get().entry
    other = builders.happened(builders.blanket("B-9"), "noted", note="x")
    assert other.pk != elsewhere.pk
    Qualification.objects.create(
        person=cast.dev, from_on=date(2026, 1, 1), until_on=date(2026, 12, 31), entry=other
    )
    assert told() == [("table:gear_qualification", "ROW_DIFFERS")]


def test_the_number_of_queries_does_not_grow_with_the_rows(rows, cast):
    with CaptureQueriesContext(connection) as few:
        told()
    for year in (2027, 2028, 2029):
        span = {"from_on": date(year, 1, 1), "until_on": date(year, 12, 31)}
        qualify(cast.orla, **span, reason="renewed", act=Act(cast.ines))
    with CaptureQueriesContext(connection) as many:
        told()
    assert len(many) == len(few)
