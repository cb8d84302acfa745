"""Visitors' gear: kept as keyed, checked in all or nothing, good by nothing but a test that our own rules accept."""

from datetime import timedelta

import pytest

from gear import queries as gear_queries
from gear.actions.acting import Act, Refused
from gear.ledger import append
from gear.models import Entry, Holder, Item, Qualification, Refusal
from gear.permissions import NotAllowed
from inspections import queries
from inspections.actions import checking_in, leaving, visits
from inspections.actions.visits import VisitRefused
from inspections.models import ElectricalTest, VisitPiece
from inspections.pdf.visit_slip import visit_slip_html, visit_slip_pdf
from tests import builders
from tests.inspections import visiting

pytestmark = pytest.mark.django_db
ASKED = gear_queries.question


def told(one):
    """item number: (verdict, codes) of every piece of a visit, now."""
    found = queries.brought(one, ASKED())
    return {
        each.item.item_no: (each.answer.verdict, [why.code for why in each.answer.reasons]) for each in found
    }


def test_what_the_paper_proves_is_judged_by_our_rules_and_runs_from_the_owners_test(cast):
    one = visiting.checked_in(cast.orla)
    assert told(one) == {"V-00001": ("good", []), "V-00002": ("good", [])}
    left = gear_queries.answer("V-00001", ASKED())
    # 29 CFR 1910.137 Table I-5: six months from the test; in hand since nobody knows when, so never the shelf time.
    assert left.winning_clock == "last_test+6"
    item = Item.objects.get(item_no="V-00001")
    assert (item.serial, item.hand, item.item_type.maker) == ("HB-001-L", "L", "Otter Rock")
    assert item.state.label
    assert item.state.holder == Holder.objects.get(kind="contractor")
    assert item.state.holder.name == "Visitor 1 (Harrow Bay)"
    test = ElectricalTest.objects.get(item=item)
    assert (test.outcome, test.lab, test.report_no, test.entry.by) == (
        "accepted",
        visiting.LAB,
        visiting.REPORT,
        cast.orla,
    )
    assert "looked at by orla" in test.entry.facts["note"]
    assert item.entry_set.get(kind="received").facts["owner"] == "Harrow Bay"


LESS = {
    "nobody saw the report": {"papers": ()},
    "no day of test": {"tested_on": ""},
    "no lab": {"lab": ""},
    "no report number": {"report_no": ""},
    "no result": {"lab_result": ""},
    "the owner's own lab rejects": {"lab_result": "reject"},
}  # fmt: skip


@pytest.mark.parametrize("about", LESS.values(), ids=LESS)
def test_a_statement_that_the_paper_does_not_prove_is_no_test(cast, about):
    one = visiting.checked_in(cast.orla, **about)
    assert {verdict for verdict, _codes in told(one).values()} == {"stop"}
    assert all("NEVER_TESTED" in codes for _verdict, codes in told(one).values())
    assert not ElectricalTest.objects.exists()
    assert "by the owner" in Entry.objects.filter(kind="noted").first().facts["note"] or not about.get(
        "tested_on", 1
    )


JUDGED = {
    "a lower voltage": ({"applied_v": "10000"}, {}, "stop"),
    "a shorter time": ({"seconds": "30"}, {}, "stop"),
    "no reading": ({}, {"leakage_ma": ""}, "stop"),
    "no voltage": ({"applied_v": ""}, {}, "stop"),
    "a current above the limit": ({}, {"leakage_ma": "30"}, "stop"),
}  # fmt: skip


@pytest.mark.parametrize(("about", "cells", "verdict"), JUDGED.values(), ids=JUDGED)
def test_what_the_paper_says_is_judged_like_any_other_test(cast, about, cells, verdict):
    one = visiting.checked_in(cast.orla, visiting.row(**cells), **about)
    assert told(one)["V-00001"][0] == verdict
    assert ElectricalTest.objects.get(item__item_no="V-00001").outcome in ("void", "failed")


def test_without_a_look_of_ours_or_a_number_on_the_piece_a_paper_proves_nothing(cast):
    one = visiting.visit(cast.orla)
    visiting.keyed(one, visiting.row(1), visiting.row(2, number="", number_right=""), by=cast.orla)
    checking_in.check_in(one.number, act=Act(cast.orla))
    assert {verdict for verdict, _codes in told(one).values()} == {"stop"}
    visiting.looked_at(one, by=cast.orla)
    checking_in.check_in(one.number, act=Act(cast.orla))
    assert [verdict for verdict, _codes in told(one).values()] == ["good", "good", "stop", "stop"]
    assert Item.objects.count() == 4, "checking in again takes nothing in twice"


def test_an_old_paper_is_out_of_date_and_a_bad_look_stops(cast):
    old = (builders.today() - timedelta(days=200)).isoformat()
    one = visiting.visit(cast.orla)
    visiting.keyed(one, visiting.row(1, tested_on=old), visiting.row(2), by=cast.orla)
    first, second = one.rows.order_by("place")
    visits.looked(one.number, {first.pk: "accept", second.pk: "reject"}, act=Act(cast.orla))
    checking_in.check_in(one.number, act=Act(cast.orla))
    assert told(one)["V-00001"][1][0] == "OUT_OF_DATE"
    assert told(one)["V-00003"][1][0] == "DAMAGED"


def test_a_foreman_checks_in_and_only_a_clerk_makes_anything_good(cast):
    one = visiting.visit(cast.bertrand)
    visiting.keyed(one, by=cast.bertrand)
    with pytest.raises(NotAllowed):
        visiting.looked_at(one, by=cast.bertrand)
    checking_in.check_in(one.number, act=Act(cast.bertrand))
    assert {verdict for verdict, _codes in told(one).values()} == {"stop"}
    visiting.looked_at(one, by=cast.orla)
    checking_in.check_in(one.number, act=Act(cast.bertrand))
    assert {verdict for verdict, _codes in told(one).values()} == {"stop"}
    checking_in.check_in(one.number, act=Act(cast.orla))
    assert {verdict for verdict, _codes in told(one).values()} == {"good"}
    for stranger in (cast.dev, cast.halvard):
        with pytest.raises(NotAllowed):
            visits.keep_rows(one.number, [visiting.row(9)], act=Act(stranger))


def test_an_inspector_whose_qualification_ran_out_accepts_nothing(cast):
    yesterday = builders.today() - timedelta(days=1)
    entry = builders.happened(builders.glove(), "noted", note="-")
    row = Qualification(
        person=cast.orla, from_on=yesterday - timedelta(days=9), until_on=yesterday, entry=entry
    )
    append(row)
    one = visiting.visit(cast.orla)
    visiting.keyed(one, by=cast.orla)
    with pytest.raises(Refused, match="qualification"):
        visiting.looked_at(one, by=cast.orla)


def test_one_bad_row_and_nothing_is_checked_in(cast):
    one = visiting.visit(cast.orla)
    wrong = [
        visiting.row(2, number="HB-001-L"),  # already on row 1
        visiting.row(3, leakage_ma="12,4 mA"),
        visiting.row(4, length_mm="14"),
        visiting.row(5, **{"class": "7"}),
    ]
    rows = visiting.keyed(one, visiting.row(1), *wrong, by=cast.orla)
    problems = checking_in.plan(one).problems
    assert set(problems) == {row.pk for row in rows[1:]}
    assert checking_in.sentence_of(problems[rows[1].pk][0]).startswith(
        "number HB-001-L of this maker and hand"
    )
    assert checking_in.sentence_of(problems[rows[1].pk][0]).endswith("is already on line 1.")
    with pytest.raises(VisitRefused, match="Nothing was checked in: 4 rows"):
        checking_in.check_in(one.number, act=Act(cast.orla))
    assert not Item.objects.exists()
    assert Refusal.objects.get().code == "BAD_ROWS"
    for row in rows[1:]:
        visits.strike(one.number, row.pk, act=Act(cast.orla))
    checking_in.check_in(one.number, act=Act(cast.orla))
    assert Item.objects.count() == 2
    with pytest.raises(VisitRefused, match="in the book already"):
        visits.strike(one.number, rows[0].pk, act=Act(cast.orla))


def test_a_makers_serial_is_one_piece_whoever_owns_it_and_an_owners_number_is_the_owners(cast):
    builders.glove("G-00001", serial="HB-001-L", maker="Otter Rock")
    builders.glove("G-00002", serial="7")
    one = visiting.visit(cast.orla)
    visiting.keyed(one, by=cast.orla)
    assert [problem.code for found in checking_in.plan(one).problems.values() for problem in found] == [
        "SERIAL_IN_BOOK"
    ]
    # Without a maker "7" is what Harrow Bay painted on it, and so is the 7 of Stone Point.
    other = visiting.visit(cast.orla, organisation="Stone Point", maker="")
    visiting.keyed(other, visiting.row(number="7", number_right="8"), by=cast.orla)
    checking_in.check_in(other.number, act=Act(cast.orla))
    third = visiting.visit(cast.orla, organisation="Harrow Bay", maker="")
    visiting.keyed(third, visiting.row(number="7", number_right="8"), by=cast.orla)
    checking_in.check_in(third.number, act=Act(cast.orla))
    again = visiting.visit(cast.orla, organisation="Stone Point", maker="")
    visiting.keyed(again, visiting.row(number="7", number_right="9"), by=cast.orla)
    with pytest.raises(VisitRefused):
        checking_in.check_in(again.number, act=Act(cast.orla))


def test_a_visit_is_open_until_each_piece_went_home_or_is_missing(cast):
    one = visiting.checked_in(cast.orla)
    leaving.hand_back(one.number, ["V-00001"], act=Act(cast.bertrand))
    answer = gear_queries.answer("V-00001", ASKED())
    assert (answer.verdict, answer.reasons[0].code) == ("unknown", "NOT_YET_RECEIVED")
    assert told(one)["V-00002"] == ("unknown", ["SET_NOT_COMPLETE"])
    one.refresh_from_db()
    assert one.closed_at is None
    with pytest.raises(VisitRefused, match="V-00001 is not open"):
        leaving.hand_back(one.number, ["V-00001", "V-00002"], act=Act(cast.bertrand))
    leaving.missing(one.number, ["V-00002"], reason="not in his bag", act=Act(cast.bertrand))
    one.refresh_from_db()
    assert (one.closed_by, Item.objects.get(item_no="V-00002").state.condition) == (cast.bertrand, "lost")
    with pytest.raises(VisitRefused, match="is over"):
        visiting.keyed(one, visiting.row(5), by=cast.orla)


def test_who_comes_back_keeps_the_numbers_and_is_looked_at_anew(cast):
    one = visiting.checked_in(cast.orla)
    leaving.hand_back(one.number, ["V-00001", "V-00002"], act=Act(cast.orla))
    back = visiting.visit(cast.orla)
    visiting.keyed(back, visiting.row(person="Ana Ruiz"), by=cast.orla)
    checking_in.check_in(back.number, act=Act(cast.orla))
    assert list(VisitPiece.objects.filter(visit=back).values_list("item__item_no", flat=True)) == [
        "V-00001",
        "V-00002",
    ]
    assert Item.objects.get(item_no="V-00001").state.holder.name == "Ana Ruiz (Harrow Bay)"
    assert Item.objects.count() == 2
    assert told(back)["V-00001"] == ("stop", ["SET_NOT_COMPLETE", "NEEDS_CLEANING"])
    visiting.looked_at(back, by=cast.orla)
    checking_in.check_in(back.number, act=Act(cast.orla))
    assert told(back)["V-00001"] == ("good", [])


def test_a_slip_tells_each_person_what_is_good_what_is_refused_and_why(cast):
    one = visiting.checked_in(cast.orla, visiting.row(1), visiting.row(2, number="", number_right=""))
    html = visit_slip_html(one, queries.brought(one, ASKED()), paper="a4", each=True)
    first, second = html.split("<section>")[1:]
    assert "Harrow Bay: Visitor 1" in first
    assert "Do not use: refused by the host" not in first
    assert "Looked at by" in first
    assert "Harrow Bay: Visitor 2" in second
    assert "STOP. DO NOT USE" in second
    assert "No number is marked on it, so no paper can be of it." in second
    assert "The qualified person decides." in second
    for paper in ("letter", "a4"):
        assert (
            visit_slip_pdf(one, queries.brought(one, ASKED(), person="Visitor 2"), paper=paper)[:5]
            == b"%PDF-"
        )


def test_the_page_of_forty_people_asks_as_often_as_that_of_one(cast, django_assert_max_num_queries, client):
    one = visiting.checked_in(cast.orla, *[visiting.row(at) for at in range(1, 41)])
    assert len(told(one)) == 80
    with django_assert_max_num_queries(12):
        queries.brought(one, ASKED())
