"""An audit sample: drawn by looking alone, drawn again the same, gone round with, and what it proves."""

import csv
import hashlib
import io
from datetime import date, timedelta
from functools import partial
from types import SimpleNamespace
from urllib.parse import urlencode
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from gear import queries
from gear.models import Entry, GivenAnswer, Item, Refusal, Submission
from reports.models import AuditResult, AuditSample
from reports.queries.sampling import population
from reports.rules.sampling import score
from tests import builders
from tests.gear.label_pdfs import words_in
from tests.reports.harbour import MORNING

pytestmark = pytest.mark.django_db
DRAW = {"start": "40711", "percent": "3", "confidence": "95"}
TABLES = (Entry, Refusal, GivenAnswer, Submission, AuditSample, AuditResult)


@pytest.fixture
def halvard(client, cast):
    client.force_login(cast.halvard)
    return client


def drawn(client, **asked):
    answer = client.get(reverse("audit_sample"), {**DRAW, **asked}, follow=True)
    assert answer.status_code == 200, answer.content.decode()
    return SimpleNamespace(
        numbers=[row["item_no"] for row in answer.context.get("rows", [])],
        query=answer.context.get("query", ""),
        text=answer.content.decode(),
        context=answer.context,
    )


def kept(client, cast, **asked):
    """Ines keeps a sample of the fleet; returns it."""
    shown = drawn(client, **asked)
    client.force_login(cast.ines)
    sent = dict(pair.split("=") for pair in shown.query.split("&"))
    from urllib.parse import unquote

    sent = {name: unquote(value) for name, value in sent.items()} | {"id": str(uuid4())}
    answer = client.post(reverse("audit_samples"), sent)
    assert answer.status_code == 302
    return AuditSample.objects.get(), sent


def test_the_sample_is_the_one_that_anybody_works_out_from_start_number_and_book(halvard, fleet):
    in_book = [answer.item_no for answer, facts in queries.fleet(queries.question()) if not facts.destroyed]
    by_hand = sorted(in_book, key=lambda no: hashlib.sha256(f"40711:{no}".encode()).hexdigest())[:4]
    shown = drawn(halvard, size="4")
    assert shown.numbers == sorted(by_hand)
    assert "4 of 12" in shown.text
    assert "SHA-256" in shown.text


def test_lost_pieces_count_and_destroyed_ones_and_those_of_visitors_do_not(halvard, fleet):
    shown = drawn(halvard, size="12")
    assert "B-lost" in shown.numbers
    assert "B-destroyed" not in shown.numbers
    assert "1 of them is reported lost and counts" in shown.text
    assert "Left out: 1 destroyed, 0 of visitors." in shown.text


def test_what_happens_later_does_not_change_a_sample(halvard, fleet):
    first = drawn(halvard, size="5")
    with time_machine.travel(timezone.now() + timedelta(days=2), tick=False):
        builders.blanket("B-new")
        builders.issued(fleet.over_on_shelf, to=builders.holder("truck", "T-19"))
        builders.happened(fleet.due_in_0, "rejected", reason="cut")
        again = halvard.get(f"{reverse('audit_sample')}?{first.query}")
        assert [row["item_no"] for row in again.context["rows"]] == first.numbers
        assert again.context["rows"] == first.context["rows"]
        assert drawn(halvard, size="5").context["population"] == first.context["population"] + 1


def test_each_depot_gets_its_share_and_is_bounded_for_itself(halvard, fleet):
    shown = drawn(halvard, size="6", strata="depot", found=["0", "0", "0"])
    parts = {part["name"]: (part["population"], part["size"]) for part in shown.context["parts"]}
    assert parts == {"not on record": (1, 1), "Ferrow Point": (3, 1), "Harbour depot": (8, 4)}
    assert any(
        sentence.startswith("Harbour depot: None of the 4 drawn") for sentence in shown.context["proves"]
    )
    assert shown.context["proves"][-1].startswith("All together")


def test_what_none_found_proves_and_what_not(halvard, fleet):
    shown = drawn(halvard, size="6", found="0")
    # 12 pieces, 6 drawn: 3 bad stay hidden with a chance of 84/924 = 9.1 %, 4 with 28/924 = 3.0 %.
    assert shown.context["proves"] == [
        "None of the 6 drawn was bad. With a confidence of 95 % at most 3 of the 12 are (25.0 %)."
    ]
    assert "was never entered could not be drawn" in shown.text
    assert "draws again until a sample pleases has proven nothing" in shown.text


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"start": "four"}, "not a whole number"),
        ({"percent": "0"}, "between 0.1 and 50"),
        ({"size": "13"}, "12 can be drawn"),
        ({"at": "2027-01-01T00:00:00-05:00"}, "lies in the future"),
        ({"at": "yesterday"}, "moment"),
        ({"kind": "hood"}, "hood"),
    ],
)
def test_what_cannot_be_drawn_is_told_beside_its_field(halvard, fleet, asked, sentence):
    at = {"at": timezone.now().isoformat()}
    answer = halvard.get(reverse("audit_sample"), {**DRAW, **at, **asked})
    assert answer.status_code == 400
    assert sentence in answer.content.decode()


def test_the_auditor_draws_prints_and_computes_without_a_trace(halvard, fleet, monkeypatch):
    before = [model.objects.count() for model in TABLES]
    shown = drawn(halvard, found="1")
    sheet = halvard.get(f"{reverse('audit_sample_pdf')}?{shown.query}")
    assert sheet["Content-Type"] == "application/pdf"
    text = " ".join(words_in(sheet.content))
    assert "start number 40711" in text
    assert all(number in text for number in shown.numbers)
    rows = list(
        csv.DictReader(
            io.StringIO(b"".join(halvard.get(f"{reverse('audit_sample_csv')}?{shown.query}")).decode())
        )
    )
    assert [row["item_no"] for row in rows] == shown.numbers
    assert {row["sha256"] for row in rows} == {
        hashlib.sha256(f"40711:{number}".encode()).hexdigest() for number in shown.numbers
    }
    assert [model.objects.count() for model in TABLES] == before
    assert "Keep this sample" not in shown.text
    assert halvard.post(reverse("audit_samples"), {"id": str(uuid4())}).status_code == 403


def entered(client, sample, found, **columns):
    sent = {"id": str(uuid4()), "looked_by": "Halvard", "looked_on": "2026-09-14", **columns}
    for at, (_stratum, item_no) in enumerate(sample.drawn):
        if item_no in found:
            sent |= {f"found_{at}": found[item_no], f"note_{at}": ""}
    return client.post(reverse("audit_results", args=[sample.pk]), sent)


def test_results_are_entered_by_the_office_and_change_no_answer(halvard, cast, fleet):
    sample, sent = kept(halvard, cast, size="3")
    assert halvard.post(reverse("audit_samples"), sent).status_code == 302  # sent twice
    assert AuditSample.objects.count() == 1
    numbers = [item_no for _stratum, item_no in sample.drawn]
    answers = queries.answers(numbers, queries.question())
    assert entered(halvard, sample, {numbers[0]: "as_recorded", numbers[1]: "not_found"}).status_code == 302
    half = halvard.get(reverse("audit_results", args=[sample.pk]))
    assert "proves" not in half.context
    assert "1 piece of the sample is still to be looked at" in half.content.decode()
    assert "Report it lost" in half.content.decode()
    entered(halvard, sample, {numbers[2]: "as_recorded"})
    whole = halvard.get(reverse("audit_results", args=[sample.pk]))
    assert whole.context["proves"][0].startswith("1 of the 3 drawn was bad.")
    assert queries.answers(numbers, queries.question()) == answers
    with time_machine.travel(timezone.now() + timedelta(minutes=1), tick=False):
        entered(
            halvard, sample, {numbers[1]: "as_recorded"}
        )  # it turned up: the newest counts, the older stays
    whole = halvard.get(reverse("audit_results", args=[sample.pk]))
    assert whole.context["proves"][0].startswith("None of the 3")
    assert AuditResult.objects.count() == 4


@pytest.mark.parametrize(
    ("found", "columns", "sentence"),
    [
        ({}, {}, "Nothing was entered"),
        ({0: "fine"}, {}, "not in this sample"),
        ({0: "as_recorded"}, {"looked_on": "2026-09-13"}, "before the moment of the draw"),
        ({0: "as_recorded"}, {"looked_by": ""}, "required"),
    ],
)
def test_a_result_that_cannot_be_is_refused_and_nothing_is_kept(
    halvard, cast, fleet, found, columns, sentence
):
    sample, _sent = kept(halvard, cast, size="3")
    by_number = {sample.drawn[at][1]: word for at, word in found.items()}
    answer = entered(halvard, sample, by_number, **columns)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not AuditResult.objects.exists()


def test_the_auditor_reads_results_and_is_offered_no_act(halvard, cast, fleet):
    sample, _sent = kept(halvard, cast, size="2")
    entered(halvard, sample, {sample.drawn[0][1]: "damaged"})
    halvard.force_login(cast.halvard)
    shown = halvard.get(reverse("audit_results", args=[sample.pk])).content.decode()
    assert "<strong>damaged</strong>" in shown
    assert "Put it on hold" not in shown
    assert "Enter what was found" not in shown
    assert sample.start in halvard.get(reverse("audit_samples")).content.decode()
    assert entered(halvard, sample, {sample.drawn[1][1]: "damaged"}).status_code == 403


def test_the_number_of_queries_does_not_grow_with_the_sample(halvard, fleet):
    numbers = list(Item.objects.values_list("item_no", flat=True))
    # Both draws hold a piece of a pair, whatever numbers the gloves got: sets are read where there is one.
    start = next(
        str(one)
        for one in range(1, 10_000)
        if fleet.left.item_no in sorted(numbers, key=partial(score, str(one)))[:2]
    )
    asked = {**DRAW, "start": start, "size": "2", "at": timezone.now().isoformat()}
    halvard.get(f"{reverse('audit_sample')}?{urlencode(asked)}")
    with CaptureQueriesContext(connection) as few:
        halvard.get(reverse("audit_sample"), asked)
    with CaptureQueriesContext(connection) as many:
        halvard.get(reverse("audit_sample"), asked | {"size": "12"})
    assert len(many) == len(few)


@time_machine.travel(MORNING, tick=False)
def test_a_past_moment_and_now_draw_from_the_same_pieces_while_nothing_was_recorded(fleet):
    now = population(timezone.now())
    builders.happened(fleet.held, "noted", note="x", on=date(2026, 9, 14))
    with time_machine.travel(timezone.now() + timedelta(hours=1), tick=False):
        builders.happened(fleet.held, "noted", note="y")
        later = population(now.at)
    assert {no: vars(facts)["holder"] for no, facts in later.facts.items()} == {
        no: vars(facts)["holder"] for no, facts in now.facts.items()
    }
    assert later.conditions == now.conditions
