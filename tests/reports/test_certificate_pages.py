"""Finding certificates, printing them, and checking one by its number and code, signed in or not."""

from datetime import date
from decimal import Decimal

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear.actions.acting import Act
from gear.actions.corrections import correct
from gear.ledger import make_seal
from gear.models import Entry
from gear.views import visitors
from inspections.actions.corrections import correct_test
from inspections.rules.acceptance import Reading
from inspections.rules.testfacts import Paper
from reports.rules.certificate_check import attached
from tests import builders
from tests.reports.papers import DAY, GLOVE, fourteen_inch, issued, logged, ten_feet

pytestmark = pytest.mark.django_db
NAMES = ("orla", "Orla", "ines", "R-G-00001", "M-1")


@pytest.fixture(autouse=True)
def no_typesetting(monkeypatch):
    """What a batch or a certificate is made of is looked at elsewhere; setting one takes a second."""
    made = []

    def kept(told, **choices):
        made.append((told, choices))
        return b"%PDF-1.7"

    monkeypatch.setattr("reports.views.certificates.certificate_pdf", kept)
    monkeypatch.setattr("reports.views.certificates.batch_pdf", kept)
    return made


@pytest.fixture
def office(client, cast):
    client.force_login(cast.orla)
    return client


def check(client, number, code):
    return client.get("/certificates/check/", {"number": number, "code": code})


def text_of(answer) -> str:
    return " ".join(answer.content.decode().split())


# Finding


@pytest.mark.parametrize(
    ("way", "what"),
    [
        ("item", "G-00001"),
        ("item", "KX-4471"),
        ("report", "r-g-00001"),
        ("tested_on", "2026-09-07"),
        ("received_on", "2024-01-02"),
        ("holder", "truck t-07"),
        ("holder", "t-07"),
    ],
)
def test_a_test_is_found_by_item_serial_report_day_and_holder(office, cast, way, what):
    truck = builders.holder("truck", "Truck T-07")
    entry = logged(fourteen_inch(at=truck), cast.orla)
    page = text_of(office.get("/certificates/", {"by": way, "what": what}))
    assert f"/certificates/{entry.pk}.pdf" in page
    assert f"Certificate G-00001/{entry.position}" in page


def test_six_gloves_named_together_give_the_newest_test_of_each_and_tell_which_has_none(
    office, cast, no_typesetting
):
    for number in range(1, 6):
        logged(fourteen_inch(f"G-0000{number}", serial=f"KX-{number}"), cast.orla, on=date(2026, 3, 2))
    newest = logged(fourteen_inch("G-00006"), cast.orla)
    again = logged(
        newest.item, cast.orla, on=date(2026, 9, 8), paper={"report_no": "R-2"}, leakage_ma=Decimal("15.5")
    )
    fourteen_inch("G-00007", serial="never tested")
    asked = {"by": "item", "what": "G-00001, G-00002 G-00003;G-00004 G-00005 G-00006 G-00007"}
    page = text_of(office.get("/certificates/", asked))
    assert "6 tests" in page
    assert "No test on record: G-00007" in page
    assert str(again.pk) in page
    assert str(newest.pk) not in page
    assert office.get("/certificates/batch.pdf", asked).status_code == 200
    batch = no_typesetting[-1][0]
    assert [told.item_no for told in batch.certified] == [f"G-0000{number}" for number in range(1, 7)]
    assert batch.untested == ["G-00007"]


@pytest.mark.parametrize(
    ("way", "what", "says"),
    [
        ("item", "G-99999", "G-99999 is not in the book"),
        ("holder", "nobody", "Nobody and nothing of the name nobody"),
        ("tested_on", "yesterday", "yesterday is no day"),
    ],
)
def test_what_leads_nowhere_is_told_in_a_sentence(office, cast, way, what, says):
    answer = office.get("/certificates/", {"by": way, "what": what})
    assert answer.status_code == 404
    assert says in text_of(answer)


def test_of_several_holders_the_whole_name_is_asked_for(office, cast):
    builders.holder("truck", "Truck T-07")
    builders.holder("truck", "Truck T-08")
    answer = office.get("/certificates/", {"by": "holder", "what": "truck"})
    assert "Truck T-07, Truck T-08" in text_of(answer)


def test_a_crew_holds_what_its_people_and_trucks_hold(office, cast):
    crew = builders.crew()
    dev = builders.holder("person", "Dev")
    cage = builders.holder("crew", "Crew 7", crew=crew)
    entries = [
        logged(fourteen_inch(f"G-0000{place}", at=holder, serial=f"KX-{place}"), cast.orla)
        for place, holder in enumerate((dev, cage), start=1)
    ]
    page = text_of(office.get("/certificates/", {"by": "holder", "what": "Crew 7"}))
    assert all(str(entry.pk) in page for entry in entries)


def test_what_was_corrected_or_withdrawn_is_listed_as_it_counts(office, cast):
    first, second = (
        logged(fourteen_inch(f"G-0000{place}", serial=f"KX-{place}"), cast.orla) for place in (1, 2)
    )
    act = Act(cast.ines)
    correct_test(
        first,
        Reading(DAY, "in_service", **{**GLOVE, "leakage_ma": Decimal("15.5")}),
        Paper(report_no="R-G-00001"),
        reason="misread",
        act=act,
    )
    correct(second, new=None, reason="another glove", act=Act(cast.orla))
    page = text_of(office.get("/certificates/", {"by": "tested_on", "what": "2026-09-07"}))
    assert str(act.id) in page
    assert str(first.pk) not in page
    assert str(second.pk) not in page


def count(client, address, **asked):
    with CaptureQueriesContext(
        connection,
    ) as queries:
        assert client.get(address, asked).status_code == 200
    return len(queries)


@pytest.mark.parametrize("address", ["/certificates/", "/certificates/batch.pdf"])
def test_queries_do_not_grow_with_the_rows(office, cast, address):
    for number in range(1, 4):
        logged(fourteen_inch(f"G-0000{number}", serial=f"KX-{number}"), cast.orla)
    make_seal(Entry.objects.order_by("-recorded_at").first().recorded_at)
    few = count(office, address, by="tested_on", what="2026-09-07")
    for number in range(4, 16):
        logged(fourteen_inch(f"G-0000{number}", serial=f"KX-{number}"), cast.orla)
    make_seal(Entry.objects.order_by("-recorded_at").first().recorded_at)
    assert count(office, address, by="tested_on", what="2026-09-07") == few


def test_a_batch_carries_the_proof_of_every_line(office, cast, no_typesetting):
    for number in (1, 2):
        logged(fourteen_inch(f"G-0000{number}", serial=f"KX-{number}"), cast.orla)
    office.get("/certificates/batch.pdf", {"by": "tested_on", "what": "2026-09-07"})
    assert len(attached(no_typesetting[-1][1]["attached"])["certificates"]) == 2


def test_more_than_fit_on_one_paper_are_refused_and_none_is_an_error(office, cast, monkeypatch):
    monkeypatch.setattr("reports.views.certificates.MOST", 1)
    for number in (1, 2):
        logged(fourteen_inch(f"G-0000{number}", serial=f"KX-{number}"), cast.orla)
    asked = {"by": "tested_on", "what": "2026-09-07"}
    assert office.get("/certificates/batch.pdf", asked).status_code == 400
    assert office.get("/certificates/batch.pdf", {"by": "report", "what": "none"}).status_code == 404


def test_other_entries_and_other_papers_are_refused(office, cast):
    entry = logged(fourteen_inch(), cast.orla)
    receipt = entry.item.entry_set.get(kind="received")
    assert office.get(f"/certificates/{receipt.pk}.pdf").status_code == 404
    assert office.get(f"/certificates/{entry.pk}.pdf", {"paper": "napkin"}).status_code == 400
    assert office.get(f"/certificates/{entry.pk}.pdf", {"paper": "a4"}).status_code == 200


def test_nothing_is_printed_from_a_broken_record(office, cast, past_the_guards):
    entry = logged(fourteen_inch(), cast.orla)
    past_the_guards("UPDATE gear_entry SET device = 'x' WHERE position = 1 AND item_id = %s", entry.item_id)
    answer = office.get(f"/certificates/{entry.pk}.pdf")
    assert answer.status_code == 409
    assert "nothing can be certified" in text_of(answer)


def test_the_record_of_an_item_and_a_test_just_logged_lead_to_their_papers(office, cast):
    entry = logged(fourteen_inch(), cast.orla)
    item_page = office.get("/items/G-00001/").content.decode()
    assert 'href="/certificates/?by=item&amp;what=G-00001"' in item_page
    assert f'href="/certificates/{entry.pk}.pdf"' in office.get(f"/tests/{entry.pk}/").content.decode()


# Where the test makes the item good now


def test_dates_stand_only_where_the_item_is_still_good_by_this_very_test(office, cast, no_typesetting):
    day = builders.today()
    entry = logged(builders.blanket("B-1"), cast.orla, on=day)
    office.get(f"/certificates/{entry.pk}.pdf")
    assert "By this test good through" in no_typesetting[-1][0].dates.sentence
    assert "Scan to confirm" in no_typesetting[-1][0].dates.sentence
    builders.happened(entry.item, "held", reason="odd smell")
    office.get(f"/certificates/{entry.pk}.pdf")
    assert no_typesetting[-1][0].dates.good_through is None
    assert "says nothing about use" in no_typesetting[-1][0].dates.sentence


def test_an_older_test_has_no_dates_of_its_own(office, cast, no_typesetting):
    day = builders.today()
    blanket = builders.blanket("B-1")
    older = logged(blanket, cast.orla, on=date(day.year - 1, day.month, 1))
    logged(blanket, cast.orla, on=day, paper={"report_no": "R-2"})
    office.get(f"/certificates/{older.pk}.pdf")
    assert no_typesetting[-1][0].dates.good_through is None


# The check


def test_anybody_may_check_a_paper_and_a_visitor_reads_no_names(client, cast):
    made = issued(logged(fourteen_inch(), cast.orla)).certificate
    page = text_of(check(client, made.number, made.code.lower()))
    assert "Genuine" in page
    assert "16 mA for class 2, length 356 mm (14.0 in)" in page  # what is to be compared with the paper
    assert not [name for name in NAMES if name in page]
    client.force_login(cast.halvard)
    page = text_of(check(client, made.number, made.code))
    assert all(name in page for name in ("orla", "M-1", "R-G-00001"))


def test_a_wrong_code_and_an_unknown_number_are_the_same_to_whoever_guesses(client, cast):
    made = issued(logged(fourteen_inch(), cast.orla)).certificate
    wrong = made.code[:-1] + ("2" if made.code[-1] != "2" else "3")
    pages = [
        text_of(check(client, number, code)).replace(number, "").replace(code, "")
        for number, code in (
            (made.number, wrong),
            ("G-00001/1", made.code),
            ("G-77777/2", made.code),
            ("none", made.code),
        )
    ]
    assert "Not genuine" in pages[0]
    assert len(set(pages)) == 1


def test_a_visitor_who_guesses_too_often_waits(client, cast, monkeypatch):
    cache.clear()
    monkeypatch.setattr(visitors, "MISSES", 2)
    made = issued(logged(fourteen_inch(), cast.orla)).certificate
    assert [check(client, made.number, "guess").status_code for _try in range(3)] == [200, 200, 429]
    assert check(client, made.number, made.code).status_code == 429
    cache.clear()


def test_the_old_paper_says_by_what_it_was_replaced_and_to_a_visitor_that_it_was(client, cast):
    entry = logged(fourteen_inch(), cast.orla)
    act = Act(cast.ines)
    reading = Reading(DAY, "in_service", **{**GLOVE, "leakage_ma": Decimal("15.5")})
    correct_test(entry, reading, Paper(report_no="R-G-00001"), reason="misread", act=act)
    old = issued(entry).certificate
    assert "Corrected since" in text_of(check(client, old.number, old.code))
    client.force_login(cast.orla)
    new = issued(Entry.objects.get(pk=act.id)).certificate
    assert f"Replaced by {new.number}" in text_of(check(client, old.number, old.code))
    assert "Genuine" in text_of(check(client, new.number, new.code))


def test_the_paper_of_a_withdrawn_test_says_so(client, cast):
    entry = logged(fourteen_inch(), cast.orla)
    old = issued(entry).certificate
    correct(entry, new=None, reason="another glove", act=Act(cast.orla))
    assert "Withdrawn since" in text_of(check(client, old.number, old.code))
    client.force_login(cast.orla)
    assert "Withdrawn on" in text_of(check(client, old.number, old.code))


def test_a_genuine_record_of_a_failed_test_is_no_certificate(client, cast):
    made = issued(logged(ten_feet(), cast.orla)).certificate
    page = text_of(check(client, made.number, made.code))
    assert "Genuine: Test record, FAILED" in page
    assert "it is no certificate: FAILED" in page
    assert "1.155 milliohm" in page


def test_a_record_that_cannot_be_relied_upon_confirms_nothing(client, cast, past_the_guards):
    entry = logged(fourteen_inch(), cast.orla)
    made = issued(entry).certificate
    past_the_guards("UPDATE gear_entry SET device = 'x' WHERE position = 1 AND item_id = %s", entry.item_id)
    page = text_of(check(client, made.number, made.code))
    assert "Cannot say" in page
    assert "Genuine" not in page


def test_the_program_is_there_to_be_kept(client, cast):
    answer = client.get("/certificates/check/program")
    assert answer.content.startswith(b"#!/usr/bin/env python3")
    assert "attachment" in answer["Content-Disposition"]
