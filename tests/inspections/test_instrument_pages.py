"""The pages of the register: what is due, a calibration from its certificate, and a trace held from a browser."""

import csv
import re
from datetime import UTC, datetime
from io import BytesIO, StringIO
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from gear.models import Entry, HoldBatch, Item
from gear.views import whereabouts
from inspections.models import Calibration, Instrument
from tests import builders
from tests.inspections import tracing_graph as graph

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def in_september():
    """Noon at the site on 20 September 2026."""
    with time_machine.travel(datetime(2026, 9, 20, 16, tzinfo=UTC), tick=True):
        yield


@pytest.fixture
def meter(cast):
    made = graph.instruments(cast)
    graph.tests(graph.pieces(), cast)
    graph.found_wrong(made, cast)
    return made


def browser(person):
    client = Client()
    client.force_login(person)
    return client


def text(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def at(name, meter):
    return reverse(name, args=[meter.pk])


def certificate(**changed):
    return {
        "id": str(uuid4()),
        "calibrated_on": "2026-09-14",
        "good_through": "2027-09-13",
        "in_tolerance": "no",
        "as_found": "reads 6 % low",
        "certificate_no": "C-1255",
        "calibrated_by": "Bay lab",
        **changed,
    }


# The register


def test_whatever_is_out_of_calibration_comes_first(cast, meter):
    late = Instrument.objects.create(name="Z-9", kind="timer", calibration_due_on=graph.GOOD)
    Instrument.objects.create(name="A-1", kind="bench")
    page = text(browser(cast.halvard).get(reverse("instruments")))
    places = [page.index(f" {name} ") for name in ("Z-9", "M-1", "The lab", "M-2", "A-1")]
    assert places == sorted(places)
    assert "3 AUG 2026 48 days over Tests are void" in page
    assert "106 days left" in page
    assert "found out of tolerance" in page
    assert late.name in page
    assert "Add an instrument" not in page


def test_an_instrument_is_added_and_leads_to_its_own_page(cast):
    client = browser(cast.orla)
    form = {"id": str(uuid4()), "name": "M-2", "kind": "meter", "note": "hand-held"}
    answer = client.post(reverse("instrument_add"), form)
    meter = Instrument.objects.get()
    assert answer.url == at("instrument", meter)
    assert client.post(reverse("instrument_add"), form).url == answer.url  # sent twice, added once
    page = text(client.get(answer.url))
    assert "M-2 was added." in page
    assert "No calibration is on file." in page


def test_a_name_that_is_taken_is_refused_beside_its_field(cast, meter):
    form = {"id": str(uuid4()), "name": "m-2", "kind": "meter"}
    answer = browser(cast.orla).post(reverse("instrument_add"), form)
    assert answer.status_code == 422
    assert "already" in text(answer)


def test_names_in_tests_that_are_not_on_file_can_be_added(cast, meter):
    graph.log_test(builders.blanket("B-20"), graph.SOUND, act=graph.Act(cast.orla), instrument="Meter 9")
    client = browser(cast.orla)
    page = client.get(reverse("instruments"))
    assert "Named in tests, not in the register" in text(page)
    assert "?name=Meter%209" in page.content.decode()
    assert 'value="Meter 9"' in client.get(reverse("instrument_add"), {"name": "Meter 9"}).content.decode()


# Calibrations


def test_one_found_out_of_tolerance_leads_on_to_what_rests_on_it(cast):
    meter = graph.instruments(cast)
    client = browser(cast.orla)
    answer = client.post(at("instrument_calibrate", meter), certificate())
    assert answer.url == f"{at('instrument_trace', meter)}?found_on=2026-09-14"
    assert Calibration.objects.get(certificate_no="C-1255").in_tolerance is False
    assert "It was found out of tolerance: look at what rests on it." in text(client.get(answer.url))


def test_one_found_in_tolerance_leads_back(cast):
    meter = graph.instruments(cast)
    answer = browser(cast.orla).post(at("instrument_calibrate", meter), certificate(in_tolerance="yes"))
    assert answer.url == at("instrument", meter)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"calibrated_on": "2026-09-21"}, "lies in the future"),
        ({"calibrated_on": ""}, "required"),
        ({"good_through": "2026-09-13"}, "lies before the calibration"),
        ({"in_tolerance": ""}, "required"),
        ({"as_found": ""}, "Say how far out it was found"),
    ],
)
def test_a_certificate_that_cannot_be_right_is_refused_in_words(cast, changed, said):
    meter = graph.instruments(cast)
    entries = Entry.objects.count()
    answer = browser(cast.orla).post(at("instrument_calibrate", meter), certificate(**changed))
    assert answer.status_code == 422
    assert said in text(answer)
    assert Entry.objects.count() == entries


def test_its_page_tells_its_history_and_the_tests_that_rest_on_it(cast, meter):
    page = browser(cast.halvard).get(at("instrument", meter))
    told = text(page)
    for words in ("14 Sep 2026", "reads 6 % low at 10 mA", "C-1255", "13 SEP 2027", "358 days left"):
        assert words in told
    assert "11 accepted tests of 12 in all." in told
    assert "2 of them since 14 SEP 2026." in told
    assert "found_on=2026-09-14" in page.content.decode()
    test = Entry.objects.get(item__item_no="B-01", kind="tested")
    assert reverse("test_result", args=[test.pk]) in page.content.decode()


def test_a_withdrawn_one_stays_in_sight_and_its_tests_are_told(cast, meter):
    row = Calibration.objects.get(calibrated_on=graph.GOOD)
    answer = browser(cast.ines).post(
        reverse("instrument_withdraw", args=[row.pk]), {"id": str(uuid4()), "reason": "that was M-3"}
    )
    assert answer.url == at("instrument", meter)
    page = browser(cast.ines).get(answer.url)
    assert "<s>3 Aug 2026</s>" in page.content.decode()
    assert "that was M-3" in text(page)
    assert "accepted tests were made on days on which it was not in calibration" in text(page)


def test_whoever_entered_it_is_told_who_may_withdraw_it(cast, meter):
    row = Calibration.objects.get(calibrated_on=graph.GOOD)
    answer = browser(cast.orla).post(
        reverse("instrument_withdraw", args=[row.pk]), {"id": str(uuid4()), "reason": "that was M-3"}
    )
    assert answer.status_code == 422
    assert "Ask another clerk or a supervisor." in text(answer)


# The trace


def trace(client, meter, found_on="2026-09-14"):
    return client.get(at("instrument_trace", meter), {"found_on": found_on})


def hold(client, meter, page, **changed):
    form = {
        name: re.search(rf'name="{name}" value="([^"]*)"', page.content.decode())[1]
        for name in ("id", "shown")
    }
    address = f"{at('instrument_trace', meter)}?found_on=2026-09-14"
    return client.post(address, {**form, "reason": "certificate C-1255", **changed})


def test_it_tells_the_span_and_lists_what_is_usable_now_first(cast, meter):
    page = text(trace(browser(cast.ines), meter))
    assert "M-2 found wrong on 14 SEP 2026; last known good 3 AUG 2026." in page
    assert "Put right by the calibration of 14 SEP 2026." in page
    assert "7 pieces rest on it. 2 could be used right now." in page
    assert "1 more piece was accepted with it" in page
    assert "1 accepted test of that time does not say what it was made with" in page
    assert page.index("B-01") < page.index("On a shelf, a bench or at a lab") < page.index("B-03")
    assert "Test of 20 AUG 2026" in page
    assert "B-06" not in page


def test_a_day_is_needed_and_none_in_the_future(cast, meter):
    client = browser(cast.ines)
    assert "Found wrong on" in text(client.get(at("instrument_trace", meter)))
    for found_on in ("", "2026-09-21", "yesterday"):
        answer = trace(client, meter, found_on)
        assert answer.status_code == 400
        assert "Hold all" not in text(answer)


def test_all_that_rests_on_it_is_held_as_one_act_that_names_instrument_and_trace(cast, meter):
    client = browser(cast.ines)
    answer = hold(client, meter, trace(client, meter))
    batch = HoldBatch.objects.get()
    assert answer.url == reverse("batch", args=[batch.number])
    entries = Entry.objects.filter(kind="held", facts__batch=batch.number)
    assert {entry.item.item_no for entry in entries} == graph.RESTING
    reason = "Instrument M-2 found wrong on 2026-09-14, last known good 2026-08-03: certificate C-1255"
    assert {entry.facts["reason"] for entry in entries} == {reason}
    assert batch.asked == {"instrument": "M-2", "found_on": "2026-09-14", "last_known_good": "2026-08-03"}
    assert "7 pieces are on hold as H-0001." in text(client.get(answer.url))


def test_a_list_that_changed_meanwhile_holds_nothing(cast, meter):
    client = browser(cast.orla)
    page = trace(client, meter)
    graph.log_test(
        Item.objects.get(item_no="B-01"),
        graph.replace(graph.SOUND, tested_on=graph.FOUND + 2 * graph.DAY),
        act=graph.Act(cast.orla),
        instrument="M-1",
    )
    answer = hold(client, meter, page)
    assert answer.status_code == 422
    assert "has changed since it was shown" in text(answer)
    assert not Entry.objects.filter(kind="held").exists()


@pytest.mark.parametrize("name", ["halvard", "pim"])
def test_who_may_only_read_sees_the_list_and_no_form(cast, meter, name):
    client = browser(getattr(cast, name))
    page = trace(client, meter)
    assert "7 pieces rest on it." in text(page)
    assert "Hold all" not in text(page)
    address = f"{at('instrument_trace', meter)}?found_on=2026-09-14"
    assert client.post(address, {"id": str(uuid4()), "shown": "x", "reason": "x"}).status_code == 403


def test_the_file_has_every_piece_and_what_ended(cast, meter):
    answer = browser(cast.halvard).get(at("instrument_trace_csv", meter), {"found_on": "2026-09-14"})
    rows = list(csv.DictReader(StringIO(b"".join(answer).decode())))
    assert {row["item_no"] for row in rows if row["list"] == "rests_on_it"} == graph.RESTING
    assert {row["item_no"] for row in rows if row["list"] == "ended"} == graph.ENDED
    assert [row["item_no"] for row in rows[:2]] == ["B-01", "B-02"]
    first = rows[0]
    assert (first["holder"], first["crew"], first["usable_now"]) == ("Dev", "Crew 7", "yes")
    assert (first["accepted_on"], first["last_known_good_on"]) == ("2026-08-20", "2026-08-03")


def test_the_list_on_paper(cast, meter):
    answer = browser(cast.ines).get(at("instrument_trace_pdf", meter), {"found_on": "2026-09-14"})
    assert answer.headers["Content-Type"] == "application/pdf"
    paper = " ".join(
        " ".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages).split()
    )
    for words in (
        "What rests on M-2",
        "last known good 3 AUG 2026",
        "Page 1 of",
        "B-01",
        "Test of 20 AUG 2026",
    ):
        assert words in paper


@pytest.mark.parametrize("name", ["instrument_trace_csv", "instrument_trace_pdf"])
def test_no_file_and_no_paper_without_a_day(cast, meter, name):
    assert browser(cast.ines).get(at(name, meter)).status_code == 400


# Queries


def test_the_number_of_queries_does_not_grow_with_instruments_calibrations_or_tests(cast, meter, monkeypatch):
    monkeypatch.setattr(whereabouts, "pdf_from", lambda _html: b"%PDF-1.7")
    client = browser(cast.ines)
    addresses = [reverse("instruments"), at("instrument", meter)]

    def counted():
        found = []
        for address in addresses:
            client.get(address)
            with CaptureQueriesContext(connection) as captured:
                client.get(address)
            found.append(len(captured))
        return found

    few = counted()
    for number in range(12):
        made = graph.add_instrument(f"T-{number}", kind="timer", act=graph.Act(cast.orla))
        for row in (made, meter):
            dates = graph.Certificate(graph.GOOD, graph.FOUND, True)
            graph.calibrate(row, dates, act=graph.Act(cast.orla))
        graph.log_test(builders.blanket(), graph.SOUND, act=graph.Act(cast.orla), instrument="M-2")
    assert counted() == few
