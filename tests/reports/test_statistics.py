"""The year in figures of a small invented book: every figure by hand, and once more by SQL."""

import csv
import io
import re
from datetime import date
from types import SimpleNamespace

import pypdf
import pytest
import time_machine
from django.db import connection
from django.db.models import Count
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from gear.ledger import append
from gear.models import Entry
from gear.queries import question
from gear.rules.fold import ItemFacts
from reports.queries.yearly import counted, exceptions, span_of, year_in_figures
from reports.rules.exposure import Exposure
from reports.rules.intervals import Share
from reports.rules.yearbook import age_on
from reports.wording import statistics as words
from tests import builders
from tests.reports import loop_rows

pytestmark = pytest.mark.django_db
TODAY = "2026-12-31T17:00:00+00:00"
DAY = date(2026, 12, 31)


@pytest.fixture
def book(cast):
    """Forty blankets of maker A and 120 of B; of A six fail, of B three. All in Crew 7's hands but ten of Crew 9."""
    with time_machine.travel(TODAY, tick=False):
        truck = builders.holder("truck", "T-12")
        other = builders.holder("truck", "T-19", crew=builders.crew("Crew 9"))
        made = {"received_on": date(2026, 1, 2), "made_on": date(2024, 6, 1)}
        a = [builders.blanket(f"A-{n:03d}", maker="A", lot="L1", **made) for n in range(40)]
        b = [builders.blanket(f"B-{n:03d}", maker="B", **made) for n in range(120)]
        builders.tested(*a, *b, on=date(2025, 6, 1), purpose="first")
        builders.issued(*a, *b[10:], to=truck, on=date(2026, 3, 1))
        builders.issued(*b[:10], to=other, on=date(2026, 3, 1))
        failing = [*a[:6], *b[20:23]]
        fine = [one for one in (*a, *b) if one not in failing]
        code = [{"code": "BREAKDOWN"}]
        builders.tested(*failing, on=date(2026, 5, 1), outcome="failed", codes=code)
        builders.tested(*fine, on=date(2026, 5, 1))
        builders.tested(a[7], on=date(2026, 5, 2), outcome="void")
        builders.happened(b[30], "rejected", reason="cut", on=date(2026, 7, 1))
        builders.happened(b[30], "destroyed", reason="cut up", witness="ines", on=date(2026, 8, 1))
        builders.happened(b[31], "lost", reason="storm", on=date(2026, 9, 1))
        yield SimpleNamespace(cast=cast, a=a, b=b)


def year(which=2026):
    return counted(span_of(which, DAY))


def words_of(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_the_year_by_hand(book):
    found = year()
    of_tests(found)
    of_lives(found)
    of_exposure(found)
    by_sql(found)
    of_models_and_crews(found)
    before = year(2025)
    assert before.tests == {"blanket": {"accepted": 160}}
    assert before.exposure["blanket"] == Exposure()


def of_tests(found):
    assert found.tests == {"blanket": {"failed": 9, "accepted": 151, "void": 1}}
    assert found.failing["model"] == {"A": [6, 40], "B": [3, 120]}
    assert found.failing["lot"] == {"L1": [6, 40], "": [3, 120]}
    assert found.failing["age"] == {"1": [9, 160]}  # made on 1 June 2024: one full year on 1 May 2026
    assert found.failing["crew"] == {"Crew 7": [9, 150], "Crew 9": [0, 10]}
    assert found.causes == {("blanket", "test:BREAKDOWN"): 9, ("blanket", "by_hand"): 1}
    assert found.rejected == {"blanket": 10}


def by_sql(found):
    rows = Entry.objects.filter(kind="tested", occurred_on__year=2026).values_list("facts__outcome")
    assert dict(rows.annotate(Count("pk"))) == found.tests["blanket"]
    for kind in ("received", "destroyed", "lost"):
        assert found.happened[kind] == Entry.objects.filter(kind=kind, occurred_on__year=2026).count()


def of_lives(found):
    assert found.population == {("blanket", "2"): 159}  # one of 160 is destroyed
    assert found.ages == {"2": 159}
    assert (found.happened["destroyed"], found.happened["lost"], found.happened["still_lost"]) == (1, 1, 1)
    lives = found.lives["blanket"]
    assert (len(lives), sum(over for _days, over in lives)) == (160, 10)
    assert lives.count((61, True)) == 9  # 1 March to 1 May
    assert (122, True) in lives  # 1 March to 1 July
    assert (184, False) in lives  # lost on 1 September


def of_exposure(found):
    """306 days from 1 March on: 159 pieces all of them, one until its destruction on 1 August (153).

    Nine failed on 1 May and stay on the truck: 245 days each, of which 214 from 1 June on are past their date as well.
    The rejected one is not good for 31 days; the lost one for 122, all in date.
    """
    assert found.exposure["blanket"] == Exposure(159 * 306 + 153, 9 * 214, 9 * 31 + 31 + 122, 122)


def test_corrections_count_visitors_stand_apart_and_queries_do_not_grow(book, django_assert_num_queries):
    wrong = Entry.objects.get(item=book.a[7], kind="tested", facts__outcome="void")
    builders.record_many(
        [
            builders.Draft(
                book.a[7], "corrected", {"reason": "typed twice", "replacement": None}, corrects=wrong
            )
        ],
        by=book.cast.ines,
        via="web",
    )
    before = year()
    assert before.tests["blanket"]["void"] == 0
    facts = Entry.objects.get(item=book.a[0], kind="received").facts
    theirs = builders.Item.objects.create(item_no="V-2", item_type=book.a[0].item_type)
    truck = builders.holder("contractor", "Harrow Bay", depot=None).as_fact()
    stated = {"identity": facts["identity"], "holder": truck, "owner": "Harrow Bay"}
    builders.record_many(
        [builders.Draft(theirs, "received", stated, occurred_on=date(2026, 12, 1))], by=None, via="system"
    )
    after = year()
    assert (after.visitors, after.visitors_exposure.in_service) == (1, 31)
    assert (after.population, after.exposure) == (before.population, before.exposure)
    with CaptureQueriesContext(connection) as asked:
        year_in_figures(question(), 2026)
    more = [builders.blanket(f"C-{n}") for n in range(25)]
    builders.tested(*more, on=date(2026, 10, 1))
    with django_assert_num_queries(len(asked)):
        year_in_figures(question(), 2026)


def of_models_and_crews(found):
    """Models are told apart only where chance is unlikely; crews are never ranked."""
    rows = {row[0]: row for row in words.groups_table(found, "model").rows}
    assert rows["A"][1] == "6 of 40: 15.0 % (7.1 to 29.1)"
    assert rows["A"][3] == "6.88"
    assert rows["A"][4].startswith("differs (p = 0.016")  # 0.0081, for two groups
    table = words.groups_table(found, "crew")
    assert table.rows == ()
    assert table.none == "Nothing that these figures can show."


def test_below_30_no_per_cent_is_shown():
    assert words.share_of(Share(2, 29)) == "2 of 29: too few to tell"
    assert words.worst_of(Share(1, 14)) == "0.2 to 33.9 %"


def test_page_file_and_paper_say_the_same(client, book):
    client.force_login(book.cast.halvard)
    page = words_of(client.get(reverse("statistics")))
    assert "6 of 40: 15.0 % (7.1 to 29.1)" in page
    assert "Crew 7" not in page
    answer = client.get(reverse("statistics_csv"))
    text = "".join(part.decode() for part in answer.streaming_content)
    rows = {
        (row["table"], row["row"], row["column"]): row["value"] for row in csv.DictReader(io.StringIO(text))
    }
    assert rows["exposure", "Together", "Days out of date"] == str(9 * 214)
    assert rows["model", "A", "Failed"] == "6 of 40: 15.0 % (7.1 to 29.1)"
    paper = client.get(reverse("statistics_pdf"))
    pages = [" ".join(one.extract_text().split()) for one in pypdf.PdfReader(io.BytesIO(paper.content)).pages]
    assert "6 of 40: 15.0 % (7.1 to 29.1)" in " ".join(pages)
    assert pages[-1].count("from memory") == 6
    assert "Method and sources" in pages[-1]


@pytest.mark.parametrize("asked", ["1999", "x", "2027", "20260"])
def test_a_year_of_which_nothing_is_on_record_is_not_found(client, cast, asked):
    client.force_login(cast.ines)
    assert client.get(reverse("statistics"), {"year": asked}).status_code == 404


def test_an_exception_that_was_closed_before_the_year_was_not_in_force_in_it(cast):
    with time_machine.travel("2026-12-30T17:00:00+00:00", tick=False) as clock:
        noted = loop_rows.exception_note(ends_on=date(2027, 6, 1))
        append(noted)
        clock.move_to(TODAY)
        append(loop_rows.exception_end(exception=noted))
        clock.move_to("2027-02-01T17:00:00+00:00")
        assert [exceptions(span_of(which, date(2027, 2, 1))) for which in (2026, 2027)] == [1, 0]


@pytest.mark.parametrize(
    ("day", "age"), [("2026-06-30", "0"), ("2026-07-01", "1"), ("2027-06-30", "1"), ("2027-07-01", "2")]
)
def test_a_piece_is_a_year_old_on_the_anniversary_of_its_making(day, age):
    assert age_on(ItemFacts("B-1", identity={"made_on": "2025-07-01"}), date.fromisoformat(day)) == age
