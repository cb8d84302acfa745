"""Logging a test on its page: the item found, the form of its kind, the verdict computed, refusals in sentences."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest

from gear import wording as gear_wording
from gear.models import Entry, ItemState, Refusal
from gear.rules import codes
from inspections import wording
from inspections.models import ElectricalTest, Instrument
from inspections.rules.acceptance import FINDINGS, Finding
from tests import builders
from tests.gear.act_forms import fields_in

pytestmark = pytest.mark.django_db
NEW = "/tests/new/"
LABEL = "2C4T9KXFPW" + codes.check_symbol("2C4T9KXFPW")


@pytest.fixture
def orla(client, cast):
    client.force_login(cast.orla)
    return client


def form_of(client, item):
    """The fields of the form as the browser would send them untouched, with the readings of a sound test."""
    page = client.get(NEW, {"item": item.item_no}).content.decode()
    fields = {**fields_in(page), "visual": "accept"}
    return fields | ({"leakage_ma": "12.5"} if "leakage_ma" in fields else {})


def send(client, item, **changes):
    return client.post(NEW, {**form_of(client, item), **changes})


def result_of(client, response):
    assert response.status_code == 302
    return client.get(response["Location"]).content.decode()


# Finding the item


def test_the_item_is_found_by_number_code_address_or_serial(orla):
    glove = builders.glove("G-1", label=LABEL, serial="TX 88123")
    for typed in (
        "G-1",
        "g-1",
        LABEL,
        codes.grouped(LABEL).lower(),
        f"http://localhost:8000/T/{LABEL}",
        "TX 88123",
    ):
        page = orla.get(NEW, {"item": typed}).content.decode()
        assert f'name="item_no" value="{glove.item_no}"' in page, typed


@pytest.mark.parametrize("typed", ["G-404", "2C4T-9KXF-PW2", "\x00", "x" * 1000, "<script>"])
def test_what_is_not_in_the_book_is_asked_again(orla, typed):
    response = orla.get(NEW, {"item": typed})
    assert response.status_code in (200, 404)
    assert 'name="id"' not in response.content.decode()
    assert "<script>" not in response.content.decode()


def test_a_serial_of_several_items_is_a_choice(orla):
    builders.glove("G-1", serial="7741", maker="Northbay")
    builders.glove("G-2", serial="7741", maker="Southbay")
    page = orla.get(NEW, {"item": "7741", "lab": "Bay lab"}).content.decode()
    assert f"{NEW}?item=G-2&amp;lab=Bay+lab" in page


def test_an_old_label_is_pointed_out(orla, cast):
    glove = builders.glove("G-1", label=LABEL)
    builders.happened(glove, "labelled", code="AAAAAAAAAAA", replaces=LABEL)
    assert "This label was replaced" in orla.get(NEW, {"item": LABEL}).content.decode()
    assert "This label was replaced" not in orla.get(NEW, {"item": "G-1"}).content.decode()


def test_nothing_more_is_recorded_of_a_destroyed_item(orla):
    glove = builders.glove()
    form = form_of(orla, glove)
    builders.happened(glove, "rejected", reason="cut")
    builders.happened(glove, "destroyed", reason="cut up", witness="ines")
    assert 'name="id"' not in orla.get(NEW, {"item": glove.item_no}).content.decode()
    response = orla.post(NEW, form)
    assert response.status_code == 422
    assert Refusal.objects.get().code == "DESTROYED_IS_FINAL"
    assert not ElectricalTest.objects.exists()


# What the form says


def test_a_glove_comes_with_voltage_limit_and_seconds_of_its_class(orla):
    form = form_of(orla, builders.glove("G-1"))
    assert (form["applied_kv"], form["seconds"], form["supply"]) == ("20", "180", "ac")
    assert (form["purpose"], form["tested_on"]) == ("first", builders.today().isoformat())
    page = orla.get(NEW, {"item": "G-1"}).content.decode()
    assert "Current at most, AC: class 2, 360 mm (14.2 in): <strong>16 mA</strong>" in page
    assert "Cuff to water line, AC: <strong>64 mm (2.5 in)</strong>" in page
    assert "Table I-1" in page


@pytest.mark.parametrize(
    ("columns", "kv"),
    [
        ({"cls": "00", "length_mm": 280}, "2.5"),
        ({"cls": "0"}, "5"),
        ({"cls": "3"}, "30"),
        ({"cls": "4"}, "40"),
    ],
)
def test_the_proof_voltage_follows_the_class(orla, columns, kv):
    assert form_of(orla, builders.glove(**columns))["applied_kv"] == kv


@pytest.mark.parametrize(
    ("kind", "columns", "asked", "not_asked"),
    [
        ("glove", {"cls": "2", "length_mm": 360}, "leakage_ma", "resistance_mohm"),
        ("sleeve", {"cls": "2"}, "applied_kv", "leakage_ma"),
        ("blanket", {"cls": "2"}, "breakdown", "leakage_ma"),
        ("line_hose", {"cls": "2"}, "applied_kv", "leakage_ma"),
        ("hood", {"cls": "2"}, "applied_kv", "leakage_ma"),
        ("rigid_cover", {"cls": "4"}, "applied_kv", "leakage_ma"),
        ("grounding_jumper", {"cable_size": "2/0", "cable_length_m": "3"}, "cable_temp_c", "applied_kv"),
        ("protector", {}, "visual", "applied_kv"),
    ],
)
def test_each_kind_is_asked_for_its_own_fields(orla, kind, columns, asked, not_asked):
    item = builders.item(kind, **columns)
    page = orla.get(NEW, {"item": item.item_no}).content.decode()
    assert f'name="{asked}"' in page
    assert f'name="{not_asked}"' not in page


@pytest.mark.parametrize("kind", ["line_hose", "hood"])
def test_dc_is_not_offered_where_it_does_not_count(orla, kind):
    item = builders.item(kind, cls="2")
    page = orla.get(NEW, {"item": item.item_no}).content.decode()
    assert 'value="ac"' in page
    assert 'value="dc"' not in page
    assert send(orla, item, supply="dc").status_code == 422


def test_without_a_script_a_button_fills_in_voltage_and_seconds_again(orla):
    glove = builders.glove()
    response = send(orla, glove, fill="1", supply="dc", purpose="in_service", instrument="M-1")
    page = response.content.decode()
    assert response.status_code == 200
    assert 'name="applied_kv" value="50"' in page
    assert 'name="seconds" value="60"' in page
    assert 'name="instrument" value="M-1"' in page
    assert not ElectricalTest.objects.exists()


def test_what_the_record_lacks_is_said_before_anybody_tests(orla):
    glove = builders.glove(length_mm=None)
    page = orla.get(NEW, {"item": glove.item_no}).content.decode()
    assert "The record does not state its length. Until that is corrected no verdict is possible." in page


# What is made of it


def test_an_accepted_test_is_recorded_once_and_its_result_shown(orla, cast):
    blanket = builders.blanket("B-1")
    form = form_of(orla, blanket)
    first, again = orla.post(NEW, form), orla.post(NEW, form)
    assert first["Location"] == again["Location"] == f"/tests/{form['id']}/"
    row = ElectricalTest.objects.get()
    assert (str(row.pk), row.outcome, row.entry.by) == (form["id"], "accepted", cast.orla)
    page = result_of(orla, first)
    assert "</span> ACCEPTED</h1>" in page
    assert "GOOD THROUGH" in page
    assert "12 months from the last test" in page
    assert re.search(r'<input id="item"[^>]* autofocus>', page)


# FEATURES 28 and 29: the verdict follows from class, length and reading; a good glove is never 0.0 mA on AC
@pytest.mark.parametrize(
    ("length_mm", "typed", "outcome", "sentence"),
    [
        (360, "16.0", "ACCEPTED", ""),
        (360, "16.1", "FAILED. REJECTED", "16.1 mA is above the limit of 16 mA."),
        (406, "16.4", "ACCEPTED", ""),
        (360, "0.0", "VOID. REPEAT THE TEST", "Was the lead off or the tank empty?"),
    ],
)
def test_the_verdict_is_computed_from_the_reading(orla, length_mm, typed, outcome, sentence):
    glove = builders.glove(length_mm=length_mm)
    page = result_of(orla, send(orla, glove, leakage_ma=typed))
    assert f"{outcome}</h1>" in page
    assert sentence in page
    failed = outcome.startswith("FAILED")
    assert ItemState.objects.get(item=glove).condition == ("rejected" if failed else "ok")


# FEATURES 31, the worked trap of a 2/0 jumper of 10 ft that reads 1.250 milliohm at 35 C
@pytest.mark.parametrize(
    ("length_m", "outcome", "limit"),
    [("3.048", "FAILED. REJECTED", "1.1548"), ("3.658", "ACCEPTED", "1.3218")],
)
def test_a_jumper_shows_its_arithmetic(orla, length_m, outcome, limit):
    jumper = builders.jumper(cable_length_m=length_m)
    page = result_of(orla, send(orla, jumper, resistance_mohm="1.250", cable_temp_c="35"))
    assert f"{outcome}</h1>" in page
    for shown in ("1.1804", limit, "As read, cable at 35 °C"):
        assert shown in page


@pytest.mark.parametrize(
    ("changes", "outcome", "sentence"),
    [
        ({"applied_kv": "19.999"}, "VOID", "19.999 kV was applied, 20 kV is the proof voltage"),
        ({"seconds": "179"}, "VOID", "held for 179 s; for this purpose 180 s count"),
        ({"flashover": "on"}, "VOID", "Flashover at the cuff is a fault of the set-up"),
        (
            {"breakdown": "on", "leakage_ma": "", "seconds": ""},
            "FAILED",
            "Breakdown: the voltage went through it",
        ),
        ({"visual": "reject", "leakage_ma": ""}, "FAILED", "Rejected by eye"),
        ({"visual": "test"}, "VOID", "In doubt by eye"),
        ({"visual": "clean"}, "VOID", "It needs cleaning"),
        ({"supply": "dc", "applied_kv": "50", "leakage_ma": ""}, "ACCEPTED", ""),
    ],
)
def test_every_finding_is_a_sentence(orla, changes, outcome, sentence):
    page = result_of(orla, send(orla, builders.glove(), **changes))
    assert f"</span> {outcome}" in page
    assert sentence in page


def test_an_item_whose_length_is_not_known_is_not_judged(orla):
    glove = builders.glove(length_mm=None)
    page = result_of(orla, send(orla, glove))
    assert "</span> NOT JUDGED</h1>" in page
    assert "The record does not state its length" in page
    assert "could not be judged: the length of the item is not stated" in page


def test_a_void_test_leaves_the_earlier_dates(orla):
    blanket = builders.blanket()
    builders.tested(blanket, on=builders.today() - timedelta(days=30))
    page = result_of(orla, send(orla, blanket, seconds="10"))
    assert "Its earlier dates stand." in page


def test_the_lab_is_compared_and_not_believed(orla):
    page = result_of(
        orla, send(orla, builders.glove(), leakage_ma="16.5", lab_result="accept", lab="Bay lab")
    )
    assert "</span> FAILED. REJECTED</h1>" in page
    assert "The lab says: accept. The readings say otherwise" in page
    assert "not on file" in page


def test_an_instrument_that_had_run_out_makes_the_test_void(orla):
    Instrument.objects.create(name="M-1", calibration_due_on=builders.today() - timedelta(days=1))
    page = result_of(orla, send(orla, builders.glove(), instrument="m-1"))
    assert "The calibration of the instrument or lab had run out on that day" in page


def test_the_next_item_keeps_what_the_bench_day_shares(orla):
    yesterday = (builders.today() - timedelta(days=1)).isoformat()
    page = result_of(orla, send(orla, builders.glove(), tested_on=yesterday, lab="Bay lab", report_no="R-7"))
    carried = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))
    assert {"tested_on": yesterday, "lab": "Bay lab", "report_no": "R-7"}.items() <= carried.items()
    other = builders.glove("G-NEXT")
    form = orla.get(NEW, {"item": other.item_no, **carried}).content.decode()
    for name in ("tested_on", "lab", "report_no"):
        assert f'name="{name}" value="{carried[name]}"' in form


# What is refused


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("leakage_ma", "NaN", "Current, mA is not a plain number: NaN"),
        ("leakage_ma", "inf", "Current, mA is not a plain number: inf"),
        ("leakage_ma", "1e3", "Current, mA is not a plain number: 1e3"),
        ("leakage_ma", "-1", "Current, mA cannot be negative: -1"),
        ("leakage_ma", "12,5", "Current, mA is not a plain number: 12,5"),
        ("leakage_ma", "١٢", "is not a plain number"),
        ("leakage_ma", "0x10", "is not a plain number"),
        ("leakage_ma", "12500", "is out of range: 12500. It lies between 0 and 1000; check the unit."),
        ("leakage_ma", "", "Current, mA is missing."),
        ("applied_kv", "20000", "is out of range: 20000. It lies between 0 and 1000; check the unit."),
        ("applied_kv", "-20", "cannot be negative"),
        ("seconds", "1.5", "Held for, seconds is not a whole number: 1.5"),
        ("seconds", "99999", "is out of range"),
        ("visual", "", "This field is required."),
        ("visual", "fine", "Select a valid choice."),
        ("purpose", "yearly", "Select a valid choice."),
        ("supply", "", "This field is required."),
        ("tested_on", "2999-01-01", "is not a date"),
        ("tested_on", "14.09.2026", "Tested on is not a date like 2026-09-14: 14.09.2026."),
        ("tested_on", "", "This field is required."),
        ("lab", "x" * 81, "Lab is longer than 80 characters."),
        ("id", "1", "Enter a valid UUID."),
        ("item_no", "G-404", "There is no item G-404 in the book."),
    ],
)
def test_what_cannot_be_is_told_beside_its_field_and_not_recorded(orla, field, typed, sentence):
    glove = builders.glove()
    response = send(orla, glove, **{field: typed})
    assert response.status_code in (422, 404)
    assert sentence in response.content.decode()
    assert Entry.objects.filter(kind="tested").count() == ElectricalTest.objects.count() == 0


# FAULTS A19, A20
def test_a_day_that_cannot_be_is_refused(orla):
    glove = builders.glove(made_on=builders.today() - timedelta(days=10))
    tomorrow = builders.today() + timedelta(days=1)
    response = send(orla, glove, tested_on=tomorrow.isoformat())
    assert f"Tested on lies in the future: {tomorrow}" in response.content.decode()
    before = builders.today() - timedelta(days=11)
    response = send(orla, glove, tested_on=before.isoformat())
    assert response.status_code == 422
    assert f"{before} is before the item was made" in response.content.decode()
    assert Refusal.objects.get().code == "TEST_BEFORE_MADE"
    assert not ElectricalTest.objects.exists()


def test_the_verdict_cannot_be_sent(orla):
    glove = builders.glove()
    page = result_of(
        orla, send(orla, glove, leakage_ma="16.5", outcome="accepted", result="pass", verdict="good")
    )
    assert "</span> FAILED. REJECTED</h1>" in page


def test_a_form_of_one_item_does_not_test_another(orla):
    left, right = builders.glove("G-1"), builders.glove("G-2")
    form = form_of(orla, left)
    orla.post(NEW, form)
    response = orla.post(NEW, {**form, "item_no": "G-2"})
    assert response.status_code == 422
    assert "sent before with other content" in response.content.decode()
    assert not ElectricalTest.objects.filter(item=right).exists()


def test_the_same_report_with_another_reading_is_not_a_second_test(orla):
    glove = builders.glove()
    send(orla, glove, report_no="R-7")
    response = send(orla, glove, report_no="R-7", leakage_ma="12.6")
    assert response.status_code == 422
    assert "Correct the recorded test instead." in response.content.decode()


@pytest.mark.parametrize("name", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_the_clerk_logs_a_test(client, cast, name):
    glove = builders.glove()
    client.force_login(getattr(cast, name))
    assert client.get(NEW).status_code == 403
    assert client.post(NEW, {"item_no": glove.item_no, "id": str(uuid4())}).status_code == 403
    assert not ElectricalTest.objects.exists()


@pytest.mark.parametrize(("name", "status"), [("dev", 403), ("ines", 200), ("halvard", 200), ("pim", 200)])
def test_the_result_is_open_to_the_office(client, cast, name, status):
    client.force_login(cast.orla)
    address = send(client, builders.glove())["Location"]
    client.force_login(getattr(cast, name))
    assert client.get(address).status_code == status


def test_a_test_that_is_not_there_is_no_page(orla):
    assert orla.get(f"/tests/{uuid4()}/").status_code == 404


# Words


def test_every_finding_has_its_words():
    assert wording.FINDING_SENTENCES.keys() == FINDINGS.keys()
    assert gear_wording.TEST_CODES.keys() == FINDINGS.keys()


def test_a_finding_whose_values_are_lost_still_names_itself():
    assert wording.finding(Finding("TOO_SHORT", {"seconds": 5})) == "TOO_SHORT: seconds 5"


def test_the_queries_of_the_form_do_not_grow_with_the_book(orla, django_assert_max_num_queries):
    glove = builders.glove("G-1")
    for _number in range(30):
        builders.tested(builders.glove())
    with django_assert_max_num_queries(24):
        orla.get(NEW, {"item": glove.item_no})
