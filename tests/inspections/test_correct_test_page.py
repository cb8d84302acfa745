"""Correcting the readings of a test: judged again, shown first, and kept beside the first readings for ever."""

import re
from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest

from gear import queries
from gear.actions.acting import Act
from gear.actions.corrections import correct
from gear.ledger.verify import verify
from gear.models import Entry, Refusal
from inspections import queries as reads
from inspections.actions.testing import log_test
from inspections.models import ElectricalTest
from inspections.rules.acceptance import Reading
from tests import builders
from tests.gear.act_forms import fields_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def blanket():
    return builders.blanket("B-1")


@pytest.fixture
def glove():
    return builders.glove("G-1")


def logged(item, by, report_no="R-7", **cells):
    stated = {"supply": "ac", "applied_v": 20_000, "seconds": 60, "visual": "accept", "breakdown": False,
              "flashover": False, **cells}  # fmt: skip
    day = builders.today() - timedelta(days=2)
    return log_test(item, Reading(day, "in_service", **stated), act=Act(by), report_no=report_no)[0].entry


def address(entry):
    return f"/tests/{entry.pk}/correct/"


def form_of(client, entry):
    return fields_in(client.get(address(entry)).content.decode())


def send(client, entry, **changes):
    return client.post(address(entry), {**form_of(client, entry), "why": "read the meter wrong", **changes})


def test_the_form_starts_from_what_was_read(client, cast, glove):
    entry = logged(glove, cast.orla, leakage_ma=Decimal("16.4"))
    client.force_login(cast.ines)
    page = client.get(address(entry)).content.decode()
    for name, value in {
        "leakage_ma": "16.4",
        "applied_kv": "20",
        "seconds": "60",
        "report_no": "R-7",
    }.items():
        assert f'name="{name}" value="{value}"' in page
    assert re.search(r'name="visual" value="accept"[^>]* checked', page)


def test_a_wrong_failure_is_judged_again_and_needs_a_second_person(client, cast, glove):
    entry = logged(glove, cast.orla, leakage_ma=Decimal(164))
    client.force_login(cast.orla)
    page = unescape(send(client, entry, leakage_ma="16.0").content.decode())
    assert "Accepted" in page
    assert "it needs a second person" in page
    assert send(client, entry, leakage_ma="16.0", confirm="1").status_code == 422
    assert Refusal.objects.get().code == "SECOND_PERSON"
    client.force_login(cast.ines)
    response = send(client, entry, leakage_ma="16.0", confirm="1")
    assert (response.status_code, response["Location"]) == (302, "/items/G-1/")
    codes = {reason.code for reason in queries.answer("G-1", queries.question()).reasons}
    assert codes == {"SET_NOT_COMPLETE"}


def test_nobody_corrects_a_test_into_an_accepted_one_of_what_they_repaired(client, cast, blanket):
    builders.happened(
        blanket, "event", event="repaired", on=builders.today() - timedelta(days=3), by=cast.ines
    )
    entry = logged(blanket, cast.orla, seconds=1)
    client.force_login(cast.ines)
    assert send(client, entry, seconds="60", confirm="1").status_code == 422
    assert Refusal.objects.get().code == "OWN_REPAIR"
    client.force_login(builders.person("clerk", "runa"))
    assert send(client, entry, seconds="60", confirm="1").status_code == 302
    assert reads.tests_in_force().get().outcome == "accepted"


def test_a_wrong_pass_is_stop_from_the_moment_it_is_corrected(client, cast, blanket):
    entry = logged(blanket, cast.orla)
    client.force_login(cast.orla)
    assert send(client, entry, breakdown="on", confirm="1").status_code == 302
    assert queries.answer("B-1", queries.question()).verdict == "stop"


def test_both_readings_are_kept_each_with_its_row(client, cast, glove):
    entry = logged(glove, cast.orla, leakage_ma=Decimal(12))
    client.force_login(cast.orla)
    send(client, entry, leakage_ma="16.5", confirm="1")
    correction = Entry.objects.get(kind="corrected")
    first, second = ElectricalTest.objects.get(pk=entry.pk), ElectricalTest.objects.get(pk=correction.pk)
    assert (first.leakage_ma, first.outcome) == (Decimal(12), "accepted")
    assert (second.leakage_ma, second.outcome, second.limit_ma) == (Decimal("16.5"), "failed", Decimal(16))
    assert list(reads.tests_in_force()) == [second]
    assert list(reads.detail_problems()) == []
    assert verify() == []
    assert "corrected later" in client.get(f"/tests/{first.pk}/").content.decode()
    page = client.get(f"/tests/{second.pk}/").content.decode()
    assert "corrected later" not in page
    assert "16.5 mA is above the limit of 16 mA." in page


def test_a_row_of_a_correction_that_says_something_else_is_found(client, cast, glove, monkeypatch):
    entry = logged(glove, cast.orla, leakage_ma=Decimal(12))
    client.force_login(cast.orla)
    send(client, entry, leakage_ma="16.5", confirm="1")
    rows = {row.pk: row for row in ElectricalTest.objects.all()}
    correction = Entry.objects.get(kind="corrected")
    rows[correction.pk].leakage_ma = Decimal("6.5")
    monkeypatch.setattr(ElectricalTest.objects, "in_bulk", lambda _keys: rows)
    assert [str(correction.pk) in problem.sentence for problem in reads.detail_problems()] == [True]
    del rows[correction.pk]
    assert ["has lost its detail row" in problem.sentence for problem in reads.detail_problems()] == [True]


def test_a_test_withdrawn_counts_no_more_and_can_be_judged_again(client, cast, blanket):
    entry = logged(blanket, cast.orla)
    correct(entry, new=None, reason="of another blanket", act=Act(cast.orla))
    assert list(reads.tests_in_force()) == []
    client.force_login(cast.ines)
    assert send(client, entry, confirm="1").status_code == 302
    assert reads.tests_in_force().get().entry.kind == "corrected"
    assert queries.answer("B-1", queries.question()).verdict == "good"


def test_the_day_of_a_test_moves_its_clocks(client, cast, blanket):
    entry = logged(blanket, cast.orla)
    earlier = builders.today() - timedelta(days=100)
    client.force_login(cast.orla)
    send(client, entry, tested_on=earlier.isoformat(), confirm="1")
    assert reads.tests_in_force().get().tested_on == earlier
    assert queries.answer("B-1", queries.question()).good_through.year == earlier.year + 1


def test_sent_twice_it_is_recorded_once(client, cast, glove):
    entry = logged(glove, cast.orla, leakage_ma=Decimal(12))
    client.force_login(cast.orla)
    form = {**form_of(client, entry), "leakage_ma": "13", "why": "slip", "confirm": "1"}
    assert [client.post(address(entry), form).status_code for _time in range(2)] == [302, 302]
    assert Entry.objects.filter(kind="corrected").count() == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({}, "This correction changes nothing."),
        ({"leakage_ma": "NaN"}, "is not a plain number"),
        ({"leakage_ma": ""}, "Current, mA is missing."),
        ({"leakage_ma": "13", "why": ""}, "This field is required."),
        ({"tested_on": "2999-01-01"}, "is not a date"),
        ({"applied_kv": "20000"}, "is out of range"),
    ],
)
def test_what_cannot_be_is_told_and_not_recorded(client, cast, glove, changes, sentence):
    entry = logged(glove, cast.orla, leakage_ma=Decimal(12))
    client.force_login(cast.ines)
    response = send(client, entry, **changes)
    assert response.status_code == 422
    assert sentence in unescape(response.content.decode())
    assert not Entry.objects.filter(kind="corrected").exists()


def test_a_day_before_the_item_was_made_is_refused(client, cast):
    made = builders.today() - timedelta(days=5)
    entry = logged(builders.blanket("B-2", made_on=made), cast.orla)
    client.force_login(cast.ines)
    response = send(client, entry, tested_on=(made - timedelta(days=1)).isoformat())
    assert response.status_code == 422
    assert "is before the item was made" in response.content.decode()


def test_after_destruction_nothing_is_corrected(client, cast, blanket):
    entry = logged(blanket, cast.orla)
    builders.happened(blanket, "rejected", reason="cut")
    builders.happened(blanket, "destroyed", reason="cut up", witness="ines")
    client.force_login(cast.ines)
    page = client.get(address(entry)).content.decode()
    assert "This item was destroyed." in page
    assert 'name="why"' not in page


def test_a_test_without_readings_has_no_such_page(client, cast, blanket):
    bare = builders.tested(blanket)[0]
    client.force_login(cast.ines)
    assert client.get(address(bare)).status_code == 404
    assert client.get(address(latest_received(blanket))).status_code == 404


def latest_received(item):
    return item.entry_set.get(kind="received")


@pytest.mark.parametrize(("name", "status"), [("orla", 200), ("ines", 200), ("dev", 403), ("halvard", 403)])
def test_the_clerk_and_the_supervisor_correct(client, cast, blanket, name, status):
    entry = logged(blanket, cast.orla)
    client.force_login(getattr(cast, name))
    assert client.get(address(entry)).status_code == status


# What voids a test when it is logged voids it when it is corrected


def test_a_reading_far_below_the_last_one_stays_void_when_something_else_is_corrected(client, cast, glove):
    builders.tested(glove, on=builders.today() - timedelta(days=200))
    first = logged(glove, cast.orla, leakage_ma=Decimal("12.5"))
    low = logged(glove, cast.orla, report_no="R-8", leakage_ma=Decimal("3.0"))
    client.force_login(cast.ines)
    send(client, low, report_no="R-9", confirm="1")
    row = reads.tests_in_force().get(report_no="R-9")
    assert (row.outcome, [one["code"] for one in low.facts["codes"]]) == ("void", ["LOW_FOR_ITEM"])
    send(client, first, leakage_ma="12.6", confirm="1")  # no test is compared with itself
    assert reads.tests_in_force().get(leakage_ma=Decimal("12.6")).outcome == "accepted"
