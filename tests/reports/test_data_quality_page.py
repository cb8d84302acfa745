"""Missing particulars: counted, told with what they cost, and gone from the list when they are mended."""

import csv
import io
import re
from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear.actions.acting import Act
from gear.actions.corrections import correct, replacement
from gear.models import ItemState
from gear.rules.particulars import PARTICULARS
from inspections.models import Instrument
from reports.queries.particulars import lacks
from reports.wording.particulars import SENTENCES
from tests import builders
from tests.gear.act_forms import fields_in
from tests.reports.papers import fourteen_inch, logged

pytestmark = pytest.mark.django_db
FULL = {"serial": "K-1", "maker": "Northgate", "model": "N2", "lot": "L-7", "made_on": date(2023, 1, 2)}


@pytest.fixture
def office(client, cast):
    client.force_login(cast.ines)
    return client


def shown(client, **asked) -> str:
    answer = client.get("/data-quality/", asked)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def counts():
    return dict(lacks().counts)


def mend(item, by, **identity):
    receipt = item.entry_set.get(kind="received")
    facts = {**receipt.facts, "identity": {**receipt.facts["identity"], **identity}}
    correct(receipt, new=replacement(receipt, facts=facts), reason="measured", act=Act(by))


def test_everything_that_can_be_missing_has_its_sentence():
    assert {one.code for one in PARTICULARS} < set(SENTENCES)


def test_a_glove_without_length_costs_its_verdict_and_the_page_says_so(office, cast):
    builders.glove("G-1", **{**FULL, "length_mm": None})
    page = shown(office, lack="LENGTH")
    assert "Of 1 record, something is missing in:" in page
    assert '<span class="figure">1</span> <strong>needed for the answer</strong>' in page
    assert '<span class="figure">0</span> <strong>needed to trace it</strong>' in page
    assert "the current limit cannot be looked up: its tests are not judged" in page
    assert "G-1" in page


def test_the_count_falls_when_the_entry_that_is_linked_is_corrected(office, cast):
    glove = builders.glove("G-1", **{**FULL, "length_mm": None})
    builders.glove("G-2", **{**FULL, "serial": "K-2", "length_mm": None})
    assert counts() == {"LENGTH": 2}
    address = re.search(r'href="(/entries/[^"]+/correct/)"', shown(office, lack="LENGTH"))[1]
    assert address == f"/entries/{glove.entry_set.get(kind='received').pk}/correct/"
    sent = {**fields_in(office.get(address).content.decode()), "length_mm": "360", "why": "measured it"}
    assert office.post(address, {**sent, "confirm": "1"}).status_code == 302
    assert counts() == {"LENGTH": 1}
    assert ">G-1</a>" not in shown(office, lack="LENGTH")


@pytest.mark.parametrize(
    ("kind", "field", "value", "code"),
    [
        ("blanket", "class", "2", "CLASS"),
        ("blanket", "serial", "K-1", "SERIAL"),
        ("blanket", "lot", "L-7", "LOT"),
        ("blanket", "made_on", "2023-01-02", "MADE_ON"),
        ("blanket", "maker", "Northgate", "MAKER"),
        ("blanket", "model", "N2", "MODEL"),
        ("jumper", "cable_length_m", "3", "CABLE_LENGTH"),
        ("jumper", "cable_size", "2/0", "CABLE_SIZE"),
        ("jumper", "clamp_grade", "5", "CLAMP_GRADE"),
        ("jumper", "ferrule_grade", "5", "FERRULE_GRADE"),
    ],
)
def test_each_lack_is_counted_and_mended(cast, kind, field, value, code):
    blank = {"class": {"cls": ""}, "cable_length_m": {field: None}, "made_on": {field: None}}
    item = getattr(builders, kind)(**{**FULL, **blank.get(field, {field: ""})})
    assert counts() == {code: 1}
    mend(item, cast.ines, **{field: value})
    assert counts() == {}


def test_a_test_without_an_instrument_or_with_one_that_is_not_on_file_is_told(office, cast):
    entries = {
        name: logged(fourteen_inch(f"G-{name}", **{**FULL, "serial": name}), cast.orla, paper=paper)
        for name, paper in {
            "none": {"instrument": ""},
            "unknown": {"instrument": "M-9"},
            "known": {"instrument": "m-1"},
        }.items()
    }
    Instrument.objects.create(name="M-1", calibration_due_on=date(2027, 1, 1))
    assert counts() == {"INSTRUMENT": 1, "INSTRUMENT_NOT_ON_FILE": 1}
    assert f"/entries/{entries['none'].pk}/correct/" in shown(office, lack="INSTRUMENT")
    assert f"/entries/{entries['unknown'].pk}/correct/" in shown(office, lack="INSTRUMENT_NOT_ON_FILE")
    Instrument.objects.create(name="M-9")
    assert counts() == {"INSTRUMENT": 1}


def test_only_the_test_that_dates_the_piece_counts(cast):
    Instrument.objects.create(name="M-1")
    glove = fourteen_inch(**FULL)
    logged(glove, cast.orla, on=date(2026, 3, 2), paper={"instrument": ""})
    assert counts() == {"INSTRUMENT": 1}
    logged(glove, cast.orla, paper={"instrument": "M-1", "report_no": "R-2"})
    assert counts() == {}


def test_an_unknown_first_issue_is_told_and_gone_once_its_day_is_stated(office, cast):
    blanket = builders.blanket("B-1", **FULL)
    facts = {"holder": builders.holder("person", "Dev").as_fact(), "first_issue_known": False}
    entry = builders.happened(blanket, "issued", on=date(2026, 3, 2), **facts)
    assert counts() == {"FIRST_ISSUE": 1}
    address = f"/entries/{entry.pk}/correct/"
    assert address in shown(office, lack="FIRST_ISSUE")
    form = fields_in(office.get(address).content.decode())
    sent = {**form, "happened_on": "2026-02-02", "why": "found the slip", "confirm": "1"}
    assert office.post(address, sent).status_code == 302
    assert counts() == {}
    assert ItemState.objects.get().first_issued_on == date(2026, 2, 2)


def test_a_destroyed_piece_is_not_asked_for_anything(cast):
    blanket = builders.blanket("B-1")
    builders.happened(blanket, "rejected", reason="cut")
    builders.happened(blanket, "destroyed", reason="cut up", witness="ines")
    assert (counts(), lacks().looked_at) == ({}, 0)


def test_a_record_that_cannot_be_read_is_told_and_hides_no_other(office, cast):
    builders.blanket("B-1", **{**FULL, "lot": ""})
    builders.blanket("B-2", **FULL)
    ItemState.objects.filter(item__item_no="B-2").update(facts={"item_no": "B-2"})
    assert counts() == {"LOT": 1, "RECORD_UNREADABLE": 1}
    assert "verify_ledger" in shown(office, lack="RECORD_UNREADABLE")


# Whose gear


def far_blanket():
    far = builders.depot("Ferrow Point")
    shelf = builders.holder("shelf", "Far shelf", depot=far)
    return builders.blanket("B-far", at=shelf, **{**FULL, "lot": ""})


def test_who_is_bound_to_a_depot_sees_its_gear_alone(client, cast):
    builders.blanket("B-near", **{**FULL, "lot": ""})
    far_blanket()
    cast.orla.depot = cast.depot
    cast.orla.save()
    client.force_login(cast.orla)
    page = shown(client, lack="LOT", depot="Ferrow Point")
    assert "B-near" in page
    assert "B-far" not in page
    assert "B-far" not in b"".join(client.get("/data-quality.csv").streaming_content).decode()


def test_others_choose_a_depot(client, cast):
    builders.blanket("B-near", **{**FULL, "lot": ""})
    far_blanket()
    client.force_login(cast.halvard)
    assert '<span class="figure">2</span> <strong>needed to trace it</strong>' in shown(client)
    page = shown(client, lack="LOT", depot="Ferrow Point")
    assert "B-far" in page
    assert "B-near" not in page
    assert "/correct/" not in page  # who only reads is shown no way to write


def test_the_list_has_pages(client, cast, monkeypatch):
    monkeypatch.setattr("reports.views.particulars.PAGE", 2)
    for number in range(3):
        builders.blanket(f"B-{number}", **{**FULL, "lot": ""})
    client.force_login(cast.ines)
    assert "page 1 of 2" in shown(client, lack="LOT")
    page = shown(client, lack="LOT", page="2")
    assert "B-2" in page
    assert "B-0" not in page
    assert "page 2 of 2" in shown(client, lack="LOT", page="999")


def test_csv_has_a_line_for_everything_that_is_missing(office, cast):
    builders.glove("G-1", **{**FULL, "length_mm": None, "lot": ""})
    content = b"".join(office.get("/data-quality.csv").streaming_content).decode()
    rows = list(csv.DictReader(io.StringIO(content)))
    assert [(row["item_no"], row["lacks"], row["needed"]) for row in rows] == [
        ("G-1", "Length", "verdict"),
        ("G-1", "Lot", "trace"),
    ]
    assert rows[0]["depot"] == "Harbour depot"


@pytest.mark.parametrize("lack", ["LOT", "INSTRUMENT", "FIRST_ISSUE"])
def test_queries_do_not_grow_with_the_book(office, cast, lack):
    def some(start, count):
        for number in range(start, start + count):
            blanket = builders.blanket(f"B-{number:02d}", **{**FULL, "lot": "", "serial": str(number)})
            logged(blanket, cast.orla, paper={"instrument": ""}, leakage_ma=Decimal(1))
            facts = {"holder": builders.holder("person", "Dev").as_fact(), "first_issue_known": False}
            builders.happened(blanket, "issued", on=date(2026, 9, 8), **facts)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            shown(office, lack=lack)
        return len(queries)

    some(0, 2)
    few = asked()
    some(2, 12)
    assert asked() == few
