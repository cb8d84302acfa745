"""The page of an item: its answer for any moment, and a record in which nothing is hidden or smoothed over."""

import html
import random
import re
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils.html import escape

from gear import queries, wording
from gear.actions.corrections import replacement
from gear.ledger import Draft, record
from gear.models import ItemState
from gear.queries import history
from gear.rules import codes
from tests import builders

NOW = datetime(2026, 6, 1, 16, 0, tzinfo=UTC)
CODE = codes.new_code(random.Random(3))
LIMIT = {
    "limit_ma": {
        "value": "16",
        "source": "29 CFR 1910.137",
        "clause": "Table I-1",
        "status": "read",
        "confirm": True,
    }
}
READINGS = {
    "supply": "ac",
    "applied_v": "20000",
    "seconds": "60",
    "leakage_ma": "11.2",
    "visual": "accept",
    "breakdown": False,
}

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def first_of_june():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def orla(client, cast):
    client.force_login(cast.orla)
    return client


@pytest.fixture
def pair(cast):
    left = builders.glove("G-1", hand="L", label=CODE, serial="TX 1")
    right = builders.glove("G-2", hand="R", serial="TX 2")
    builders.gather(left, right, set_no="P-7")
    builders.tested(left, right, on=date(2026, 3, 2))
    builders.issued(left, right, to=builders.holder("person", "Dev Okafor"), on=date(2026, 3, 4))
    return left, right


def text_of(response) -> str:
    page = re.sub(r"<s>", "[struck ", re.sub(r"</s>", "]", response.content.decode()))
    page = re.sub(r"<head>.*?</head>", " ", page, flags=re.S)
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", page).split()))


def correct(entry, *, by, reason="typed the wrong line", withdraw=False, **facts):
    new = None if withdraw else replacement(entry, facts={**entry.facts, **facts})
    return record(
        Draft(entry.item, "corrected", {"reason": reason, "replacement": new}, corrects=entry),
        by=by,
        via="web",
    )


# What it says


def test_it_shows_the_answer_what_it_is_and_where_it_is(orla, pair):
    text = text_of(orla.get("/items/G-1/"))
    assert wording.verdict(queries.answer("G-1", queries.question())) in text
    for words in (
        "Serial TX 1",
        "Class 2",
        "Hand left",
        "Length 360 mm (14.2 in)",
        "MAX USE 17,000 V",
        codes.grouped(CODE),
    ):
        assert words in text
    assert "Held by Dev Okafor Person" in text
    assert "Crew Crew 7" in text
    assert "Since 4 MAR 2026" in text
    assert "In somebody's hands yes" in text


def test_the_clock_that_decides_and_the_next_are_named_in_words(orla, pair):
    text = text_of(orla.get("/items/G-1/"))
    assert "6 months from first issue decides 3 SEP 2026" in text
    assert "12 months from the last test next 1 MAR 2027" in text
    assert "29 CFR 1910.137" in text


def test_an_expiry_that_is_marked_on_the_item_is_a_clock(orla):
    builders.tested(builders.blanket("B-1", marked_expiry_on="2026-05-01"), on=date(2026, 3, 2))
    text = text_of(orla.get("/items/B-1/"))
    assert "expiry date marked on the item decides 1 MAY 2026 over" in text
    assert "STOP. DO NOT USE" in text


def test_an_event_leaves_no_clock(orla, pair):
    builders.happened(pair[0], "event", event="used_without_protectors")
    text = text_of(orla.get("/items/G-1/"))
    assert "No clock runs" in text
    assert "used without protectors" in text


def test_the_other_pieces_of_the_set_stand_there_with_their_answers(orla, pair):
    builders.happened(pair[1], "held", reason="odd smell")
    text = text_of(orla.get("/items/G-1/"))
    assert "Pair P-7 2 of 2 pieces." in text
    assert "G-2 Glove, class 2, right, size 10 Stop STOP. DO NOT USE on hold" in text
    assert "Set not complete: G-2 is not good (on hold)." in text


def test_tests_are_listed_with_readings_limits_and_findings(orla, pair):
    builders.tested(pair[0], on=date(2026, 5, 4), readings=READINGS, limit=LIMIT)
    builders.tested(
        pair[0],
        on=date(2026, 5, 5),
        outcome="void",
        codes=[{"code": "ZERO_CURRENT"}],
        readings={"leakage_ma": "0"},
    )
    text = text_of(orla.get("/items/G-1/"))
    tests = text[text.index("Judged by") : text.index("Everything ever entered")]
    assert "Test voltage 20 kV" in tests
    assert "Held for 60 s" in tests
    assert "Current 11.2 mA" in tests
    assert "Current at most 16 mA 29 CFR 1910.137, Table I-1 confirm" in tests
    assert tests.index("5 MAY 2026") < tests.index("4 MAY 2026") < tests.index("2 MAR 2026")
    assert "Void no charging current: lead off or tank empty?" in tests


def test_a_voltage_of_the_bench_is_always_named_as_the_tests(orla, pair):
    builders.tested(pair[0], on=date(2026, 5, 4), readings=READINGS)
    text = text_of(orla.get("/items/G-1/"))
    assert text.count("20 kV") == text.count("Test voltage 20 kV") == 2
    assert "20,000" not in text


# The record


def test_the_record_is_newest_first_and_names_who_and_how(orla, cast, pair):
    builders.happened(pair[0], "held", on=date(2026, 5, 20), reason="odd smell", by=cast.dev)
    text = text_of(orla.get("/items/G-1/"))
    record_part = text[text.index("Everything ever entered") :]
    places = [
        record_part.index(words) for words in ("Put on hold", "Issued", "Tested", "Joined a set", "Received")
    ]
    assert places == sorted(places)
    assert "Reason odd smell dev · system" in record_part


def test_a_correction_stands_beside_the_struck_original(orla, cast, pair):
    (tested,) = builders.tested(pair[0], on=date(2026, 5, 4), by=cast.orla, readings=READINGS)
    correct(tested, by=cast.ines, readings={**READINGS, "leakage_ma": "12.1"})
    text = text_of(orla.get("/items/G-1/"))
    assert "[struck Tested ]" in text.replace("[struck Tested]", "[struck Tested ]")
    struck = re.search(r"\[struck Outcome[^\]]*\]", text)[0]
    assert "11.2 mA" in struck
    assert "12.1 mA" not in struck
    assert "Corrected to 4 MAY 2026" in text
    assert "typed the wrong line · ines · page · 1 JUN 2026 12:00" in text
    tests = text[text.index("Judged by") : text.index("Everything ever entered")]
    assert "Accepted corrected" in tests
    assert "12.1 mA" in tests
    assert "11.2 mA" not in tests


def test_a_withdrawn_entry_stays_on_the_page(orla, cast, pair):
    held = builders.happened(pair[0], "held", on=date(2026, 5, 20), reason="odd smell", by=cast.dev)
    correct(held, by=cast.ines, reason="it was the other glove", withdraw=True)
    text = text_of(orla.get("/items/G-1/"))
    assert "[struck Put on hold]" in text
    assert "Withdrawn" in text
    assert "it was the other glove" in text


def test_a_second_correction_strikes_the_first(orla, cast, pair):
    held = builders.happened(pair[0], "held", on=date(2026, 5, 20), reason="odd smell", by=cast.dev)
    correct(held, by=cast.ines, reason="first thought")
    with time_machine.travel(NOW + timedelta(minutes=5), tick=False):
        correct(held, by=cast.ines, reason="second thought", withdraw=True)
        text = text_of(orla.get("/items/G-1/"))
    assert text.index("corrected again below") < text.index("first thought") < text.index("second thought")


@pytest.mark.parametrize(("via", "loud"), [("web", True), ("import", False)])
def test_what_was_entered_a_day_late_says_when(orla, cast, via, loud):
    item = builders.blanket("B-1", received_on=date(2026, 6, 1))
    record(Draft(item, "noted", {"note": "seen"}, occurred_on=date(2026, 5, 4)), by=cast.orla, via=via)
    record(Draft(item, "noted", {"note": "at once"}), by=cast.orla, via=via)
    page = orla.get("/items/B-1/").content.decode()
    assert page.count("entered later, on 1 JUN 2026 12:00") == 1
    assert ('<span class="late">entered later' in page) == loud


# Another moment


def test_the_answer_of_another_day_is_marked_as_such(orla, pair):
    builders.happened(pair[0], "held", on=date(2026, 5, 20), reason="odd smell")
    text = text_of(orla.get("/items/G-1/", {"as_of": "2026-05-10"}))
    assert "It is the answer as of the end of 10 MAY 2026." in text
    assert "GOOD THROUGH 3 SEP 2026" in text
    assert "STOP" in text_of(orla.get("/items/G-1/"))


def test_what_was_known_then_can_be_asked_for(client, cast, pair):
    with time_machine.travel(NOW + timedelta(days=2), tick=False):
        client.force_login(cast.orla)
        builders.happened(pair[0], "held", on=date(2026, 5, 20), reason="told late")
        asked = {"as_of": "2026-05-25T12:00-04:00", "known_at": "2026-06-02T08:00:00-04:00"}
        text = text_of(client.get("/items/G-1/", asked))
    assert "as of 25 MAY 2026 12:00 EDT, as known on 2 JUN 2026 08:00 EDT" in text
    assert "GOOD THROUGH" in text


@pytest.mark.parametrize(
    "asked", [{"as_of": "soon"}, {"known_at": "2026-05-01"}, {"as_of": "2026-05-25T12:00"}]
)
def test_a_moment_that_cannot_be_read_gets_no_verdict_at_all(orla, pair, asked):
    response = orla.get("/items/G-1/", asked)
    page = response.content.decode()
    assert response.status_code == 400
    assert "So there is no answer here." in page
    for word in ("GOOD", "face-good", "STOP. DO"):
        assert word not in page


def test_before_it_was_known_it_is_unknown(orla, pair):
    response = orla.get("/items/G-1/", {"known_at": "2020-01-01T00:00:00Z"})
    assert response.status_code == 200
    assert "CAN'T SAY. DO NOT USE" in text_of(response)


# Who may, what may go wrong


def test_links_to_acts_are_those_of_role_and_condition(client, cast, pair):
    def acts(person) -> set[str]:
        client.force_login(person)
        return set(re.findall(r"/items/G-1/do/([a-z_]+)/", client.get("/items/G-1/").content.decode()))

    assert {"hold", "reject"} <= acts(cast.dev)
    assert not {"issue", "destroy", "release"} & acts(cast.dev)
    assert "split" in acts(cast.orla)
    assert acts(cast.halvard) == set()
    builders.happened(pair[0], "held", reason="odd smell")
    assert "release" in acts(cast.ines)


def test_no_such_item_is_told_in_a_sentence_with_no_verdict_but_unknown(orla):
    response = orla.get("/items/G-404/")
    assert response.status_code == 404
    assert "There is no item G-404 in the book." in text_of(response)


def test_visitors_sign_in_first(client, pair):
    assert client.get("/items/G-1/").status_code == 302


def test_what_was_typed_into_the_book_stays_text(orla, cast):
    hostile = '<img src=x onerror="alert(1)">'
    item = builders.blanket("B-1", serial=hostile, maker=hostile, at=builders.holder("truck", hostile))
    for kind in ("held", "needs_cleaning"):
        builders.happened(item, kind, reason=hostile)
    noted = builders.happened(item, "noted", note=hostile)
    correct(noted, by=cast.ines, reason=hostile, note=hostile + "2")
    page = orla.get("/items/B-1/").content.decode()
    assert hostile not in page
    assert page.count(escape(hostile)) >= 8


def test_a_broken_record_is_still_shown_and_says_unknown(orla, pair):
    builders.happened(pair[0], "held", reason="odd smell")
    ItemState.objects.filter(item=pair[0]).update(entry_count=1)
    text = text_of(orla.get("/items/G-1/"))
    assert "CAN'T SAY. DO NOT USE" in text
    assert "Put on hold" in text
    assert "MAX USE" not in text


def test_queries_do_not_grow_with_the_record(orla, pair):
    def count() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert orla.get("/items/G-1/").status_code == 200
        return len(captured)

    few = count()
    for day in range(1, 20):
        builders.tested(pair[0], on=date(2026, 5, day), readings=READINGS, limit=LIMIT)
        builders.happened(pair[0], "noted", note="seen")
    assert count() == few
    assert few <= 20


def test_the_record_of_an_item_is_every_entry_of_its_chain(pair):
    told = history.record_of(pair[0])
    assert len(told.entries) == pair[0].entry_set.count()
