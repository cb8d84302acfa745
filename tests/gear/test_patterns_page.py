"""Damage patterns: every count on the page is a number of entries, and leads to them."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear.ledger import Draft, record
from gear.queries.patterns import Wanted, found
from tests import builders
from tests.gear.policy_pages import signed_in

pytestmark = pytest.mark.django_db
PAGE = "/damage-patterns/"


@pytest.fixture
def ines(cast):
    return signed_in(cast.ines)


def seen(piece, place="", *words, outcome="reject", **facts):
    stated = {"outcome": outcome, "scope": "pre_use", "words": list(words) or None, "place": place or None}
    return builders.happened(piece, "inspected", **stated, **facts)


def correct(entry, new):
    facts = {"reason": "the wrong piece", "replacement": new}
    record(
        Draft(entry.item, "corrected", facts, occurred_on=builders.today(), corrects=entry),
        by=None,
        via="system",
    )


def shown(client, **asked):
    return client.get(PAGE, {"kind": "glove", **asked}).content.decode()


def counts(page):
    """{what a count is of: the count}, from the table."""
    told = {}
    for row in re.findall(r'<th scope="row">.*?</tr>', page, re.DOTALL):
        place, whole = re.search(r'"row">(.*?)</th>.*?<strong>(\d+)</strong>', row, re.DOTALL).groups()
        told[place] = int(whole)
        told |= {f"{place}, {word}": int(n) for word, n in re.findall(r'#behind">([^<]+) <b>(\d+)</b>', row)}
    return told


def figures(page):
    """The figures of each drawing, by part, for those that are not nought."""
    return [
        {
            part: int(count)
            for part, count in re.findall(r'data-part="(\w+)".*?>(\d+)</text>', drawing)
            if count != "0"
        }
        for drawing in re.findall(r"<svg class=\"drawing.*?</svg>", page, re.DOTALL)
    ]


@pytest.fixture
def found_on_gloves(cast):
    """Five findings on gloves that count, and beside them what does not: a clean look, a withdrawn one, a blanket."""
    one, two = builders.glove("G-1", model="Tern"), builders.glove("G-2", hand="R", model="Skua", lot="7A")
    seen(one, "outside:finger_3,palm", "cut")
    seen(two, "outside:palm", "cut", "nick")
    seen(two, "inside:palm", "hole", on=builders.today() - timedelta(days=40))
    seen(two, "palm", "dirt", outcome="clean")
    seen(one, "", outcome="test")
    seen(one, outcome="accept")
    correct(seen(one, "outside:cuff", "tear"), None)
    seen(builders.blanket("B-1"), "face_a:square_5", "cut")
    return one, two


def test_each_count_equals_the_entries_that_say_so(ines, found_on_gloves):
    page = shown(ines)
    assert counts(page) == {
        "finger 3 (outside)": 1,
        "finger 3 (outside), cut": 1,
        "palm (outside)": 2,
        "palm (outside), cut": 2,
        "palm (outside), nick through the colour layer": 1,
        "palm (inside)": 1,
        "palm (inside), hole or pinhole": 1,
        "palm (side not said)": 1,
        "palm (side not said), dirt": 1,
        "no place said": 1,
        "no place said, no word said": 1,
    }
    assert figures(page) == [{"finger_3": 1, "palm": 2}, {"palm": 1}, {"palm": 1}]
    assert "5 findings." in page


def test_a_corrected_finding_counts_as_what_it_was_corrected_to(ines, found_on_gloves):
    entry = seen(found_on_gloves[0], "outside:palm", "cut")
    new = {
        "kind": "inspected",
        "occurred_at": entry.occurred_at.isoformat(),
        "occurred_on": (builders.today() - timedelta(days=1)).isoformat(),
        "facts": {"v": 1, "outcome": "reject", "scope": "pre_use", "words": ["cut"], "place": "inside:back"},
    }
    correct(entry, new)
    told = counts(shown(ines))
    assert (told["palm (outside)"], told["back of the hand (inside)"]) == (2, 1)


def test_model_lot_and_days_narrow_what_is_counted(ines, found_on_gloves):
    today = builders.today()
    assert len(found(Wanted("glove", model="Skua"))) == 3
    assert len(found(Wanted("glove", lot="7A", first=today - timedelta(days=7)))) == 2
    assert len(found(Wanted("glove", last=today - timedelta(days=7)))) == 1
    page = shown(ines, model="Skua", last=(today - timedelta(days=7)).isoformat())
    assert counts(page) == {"palm (inside)": 1, "palm (inside), hole or pinhole": 1}
    assert "Nothing was found" in shown(ines, model="Gannet")


def test_a_count_leads_to_the_entries_behind_it(ines, found_on_gloves):
    page = shown(ines, part="palm", side="outside", word="cut")
    behind = page[page.index('id="behind"') : page.index('id="counts"')]
    assert re.findall(r'href="/items/([^/]+)/#entry-', behind) == ["G-1", "G-2"]
    assert 'id="behind"' not in shown(ines, part="palm", side="outside", word="burn")


def test_of_a_few_no_share_is_told_and_of_many_it_is_with_its_interval(ines, cast):
    glove = builders.glove("G-1")
    for _number in range(29):
        seen(glove, "outside:palm", "cut")
    page = shown(ines)
    assert "Too few to tell" in page
    assert "%" not in page[page.index("<table") : page.index("</table>")]
    seen(glove, "outside:cuff", "tear")
    page = shown(ines)
    assert "Too few to tell" not in page
    assert "97 % (83 to 99)" in page


def test_a_question_that_cannot_be_answered_is_told_beside_its_field(ines):
    page = ines.get(PAGE, {"kind": "glove", "first": "2026-05-02", "last": "2026-05-01"})
    assert page.status_code == 400
    assert "This day lies before the first one." in page.content.decode()
    assert ines.get(PAGE, {"kind": "voltage_detector"}).status_code == 400
    assert ines.get(PAGE).status_code == 200


def test_the_number_of_queries_does_not_grow(ines, found_on_gloves):
    def queries_for():
        with CaptureQueriesContext(connection) as made:
            shown(ines)
        return len(made)

    before = queries_for()
    for number in range(5):
        glove = builders.glove(f"G-more-{number}")
        correct(seen(glove, "palm", "cut"), None)
        seen(glove, "palm", "cut")
    assert queries_for() == before
