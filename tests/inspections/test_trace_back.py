"""Trace back from a glove that failed: twelve gloves made by hand, and the page on which all of it is held."""

import csv
import io
import re
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from gear import queries
from gear.models import Entry, HoldBatch, Item
from inspections.queries.traceback import trace_back
from inspections.views.traceback_words import said_of
from tests import builders
from tests.gear.label_pdfs import words_in
from tests.inspections import traceback_graph as graph

pytestmark = pytest.mark.django_db


@pytest.fixture
def sessions(cast):
    """The twelve, looked back at from noon on 20 September 2026."""
    found = graph.build(cast)
    with graph.on(9, 20):
        yield found


def traced(number="G-01"):
    return trace_back(Item.objects.select_related("item_type").get(item_no=number), queries.question())


def ties(found, sessions):
    names = {number: name for name, number in sessions.items()}
    return {
        one.item_no: {(tie.kind, names.get(tie.name, tie.name)) for tie in one.about} for one in found.related
    }


def test_the_twelve(sessions):
    found = traced()
    assert (found.window.since, found.window.through) == (graph.PASSED, graph.FAILED)
    assert "not on record" not in said_of(found)
    assert ties(found, sessions) == graph.TIED
    assert {one.item_no for one in found.related if one.usable} == graph.USABLE
    assert found.usable == 3
    told = [(one.holder["name"], one.since, one.through, one.days, one.used_days) for one in found.stays]
    assert told == graph.STAYS
    assert [use.kind for stay in found.stays for use in stay.uses] == ["pre_use", "job", "walk"]


def test_a_correction_of_the_last_good_test_widens_the_window(sessions, cast):
    good = Entry.objects.get(item__item_no="G-01", kind="tested", occurred_on=graph.PASSED)
    builders.record_many(
        [
            builders.Draft(
                good.item, "corrected", {"reason": "it was G-06", "replacement": None}, corrects=good
            )
        ],
        by=cast.ines,
        via="web",
    )
    found = traced()
    assert found.window.since.isoformat() == "2025-12-15"
    assert {"G-04", "G-11"} <= {one.item_no for one in found.related}


def test_days_of_which_nobody_is_on_record_are_told(cast):
    """Of a book that was brought in on 1 September nobody knows who had what in the months before."""
    with graph.on(9, 1):
        glove = builders.glove("G-30", received_on=date(2026, 9, 1))
        builders.issued(glove)
        builders.tested(glove, on=date(2026, 3, 2))
    with graph.on(9, 20):
        builders.tested(glove, outcome="failed")
        told = said_of(traced("G-30"))
    assert told.endswith("Who had it before 1 SEP 2026 is not on record.")


def test_a_piece_that_never_failed_is_traced_to_today(sessions):
    found = traced("G-05")
    assert (found.window.since, found.window.through) == (graph.PASSED, queries.question().as_of)
    assert found.window.bad is None


def test_all_of_it_is_held_as_one_act_and_once(client, cast, sessions):
    client.force_login(cast.orla)
    address = f"{reverse('trace_back')}?item=G-01"
    shown = client.get(address).content.decode()
    hidden = dict(re.findall(r'name="(id|shown)" value="([^"]+)"', shown))
    for _twice in range(2):
        assert client.post(address, {**hidden, "reason": "failed at 19.5 mA"}).status_code == 302
    batch = HoldBatch.objects.get()
    assert (batch.about, batch.pieces) == ("piece", len(graph.TIED))
    assert queries.answer("G-05", queries.question()).verdict == "stop"
    answer = client.post(
        address, {**hidden, "id": str(batch.pk)[:-4] + "0000", "shown": "other", "reason": "x"}
    )
    assert answer.status_code == 422


def test_the_auditor_reads_page_file_and_paper_and_holds_nothing(client, cast, sessions):
    client.force_login(cast.halvard)
    page = client.get(reverse("trace_back"), {"item": "G-01"}).content.decode()
    assert "passed its last good test on 2 MAR 2026 and failed on 9 SEP 2026" in page
    assert "mate in P-1, 1 FEB 2026 to 1 JUL 2026" in page
    assert "Hold all" not in page
    assert client.post(f"{reverse('trace_back')}?item=G-01", {}).status_code == 403
    rows = list(
        csv.DictReader(
            io.StringIO(b"".join(client.get(reverse("trace_back_csv"), {"item": "G-01"})).decode())
        )
    )
    holders = [row["holder"] for row in rows if row["list"] == "holder"]
    assert holders == [name for name, *_days in graph.STAYS]
    tied = [row for row in rows if row["list"] == "tied"]
    assert {row["item_no"] for row in tied} == set(graph.TIED)
    assert {row["item_no"] for row in tied[:3]} == graph.USABLE  # what could be used now stands first
    paper = " ".join(words_in(client.get(reverse("trace_back_pdf"), {"item": "G-01"}).content))
    assert "Dev, 4 MAR 2026 to 1 JUL 2026: 120 days of the window, 2 with a recorded check." in paper
    assert "bench session" in paper


@pytest.mark.parametrize(
    ("typed", "status", "sentence"),
    [("", 200, "Trace it"), ("G-99", 400, "Nothing in the book goes by that")],
)
def test_without_a_piece_there_is_a_form_and_no_list(client, cast, typed, status, sentence):
    client.force_login(cast.halvard)
    answer = client.get(reverse("trace_back"), {"item": typed})
    assert answer.status_code == status
    assert sentence in answer.content.decode()


def test_the_number_of_queries_does_not_grow_with_the_pieces(sessions):
    with CaptureQueriesContext(connection) as few:
        traced()
    for number in range(25):
        builders.glove(f"H-{number:02d}", lot="7A", maker="Quoin")
    with CaptureQueriesContext(connection) as many:
        assert len(traced().related) == len(graph.TIED) + 25
    assert len(many) == len(few)
