"""The pages of a bench session without their script: every row is a form, and everything is said in words."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from gear.models import Entry
from inspections.models import BenchRow, BenchSession, ElectricalTest, Instrument
from tests import builders
from tests.inspections.bench_day import day, in_service, typed

pytestmark = pytest.mark.django_db


@pytest.fixture
def orla(client, cast):
    client.force_login(cast.orla)
    return client


def particulars(**cells) -> dict:
    usual = {
        "id": str(uuid4()),
        "purpose": "in_service",
        "supply": "ac",
        "tested_on": builders.today().isoformat(),
        "instrument": "M-1",
        "bench": "Bench 1",
    }
    return {**usual, **cells}


def address(session, name="bench_session", *more):
    return reverse(name, args=[session.number, *more])


def send(client, session, item, reading, *, follow=True, **cells):
    """A row as the form sends it when Enter is pressed in the reading."""
    data = {"scan": item.item_no, "id": str(uuid4()), "reading": reading, "looks": "both", **cells}
    return client.post(address(session, "bench_rows"), data, follow=follow)


def test_a_session_is_opened_once_and_the_next_has_the_next_number(orla):
    sent = particulars(ambient_c="21.5", humidity_pct="48", water="tap water")
    for _twice in range(2):
        answer = orla.post(reverse("bench_sessions"), sent)
        assert answer.url == "/bench/BS-0001/"
    assert orla.post(reverse("bench_sessions"), particulars()).url == "/bench/BS-0002/"
    page = orla.get("/bench/").content.decode()
    assert "BS-0001" in page
    assert "BS-0002" in page


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ({"instrument": ""}, "This field is required"),
        ({"tested_on": "2999-01-01"}, "2999-01-01"),
        ({"humidity_pct": "101"}, "out of range: 101"),
        ({"ambient_c": "warm"}, "Room"),
        ({"purpose": "acceptance"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(orla, cells, told):
    answer = orla.post(reverse("bench_sessions"), particulars(**cells))
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not BenchSession.objects.exists()


def test_a_scan_shows_what_to_apply_and_what_may_be_read(orla, cast):
    left, _right = builders.pair("P-0617")
    builders.tested(left)
    page = orla.get(address(day(cast.orla)), {"scan": left.item_no}).content.decode()
    for words in ("16 mA", "20 kV", "60 s", "left", "P-0617", "both looks accepted"):
        assert words in page


def test_a_row_is_saved_and_its_verdict_told_in_word_and_shape(orla, cast):
    session, (glove, other) = day(cast.orla), in_service(count=2)
    page = send(orla, session, glove, "16.1").content.decode()
    assert "Rejected" in page
    assert "16.1 mA is above the limit of 16 mA." in page
    assert "■" in page
    assert "Accepted" in send(orla, session, other, "16.0").content.decode()
    assert not ElectricalTest.objects.exists()


@pytest.mark.parametrize(
    ("cells", "looks"),
    [
        ({}, ("accept", "accept")),
        ({"look_before": "reject"}, ("reject", "")),
        ({"look_after": "reject"}, ("accept", "reject")),
        ({"look_after": "later"}, ("accept", "")),
    ],
)
def test_both_looks_are_stored_with_each_row_as_the_button_states_them(orla, cast, cells, looks):
    session, (glove,) = day(cast.orla), in_service()
    send(orla, session, glove, "12.5", **cells)
    row = BenchRow.objects.get()
    assert (row.look_before, row.look_after) == looks


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ({"reading": ""}, "Type the current, in mA."),
        ({"reading": "twelve"}, "Reading"),
        ({"reading": "12,5"}, "Reading"),
        ({"applied_kv": "25"}, "Say why it was applied."),
        ({"scan": "NOPE"}, "Nothing in the book is known as NOPE"),
        ({"id": "x"}, "UUID"),
    ],
)
@pytest.mark.parametrize("accept", ["text/html", "application/json"])
def test_a_refused_row_says_why_and_keeps_what_was_typed(orla, cast, cells, told, accept):
    session, (glove,) = day(cast.orla), in_service()
    data = {"scan": glove.item_no, "id": str(uuid4()), "reading": "12.5", "looks": "both", **cells}
    answer = orla.post(address(session, "bench_rows"), data, headers={"accept": accept})
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not BenchRow.objects.exists()
    if accept == "application/json":
        assert answer.json()["state"] == "refused"


def test_the_script_gets_the_panel_the_verdict_and_the_board(orla, cast):
    session, (glove,) = day(cast.orla), in_service()
    scanned = orla.get(address(session, "bench_scan"), {"scan": glove.item_no.lower()}).json()
    assert (scanned["state"], scanned["item_no"], scanned["kind"], scanned["mode"]) == (
        "found", glove.item_no, "reads", "new",
    )  # fmt: skip
    data = {"scan": glove.item_no, "id": str(uuid4()), "reading": "12.5", "looks": "both"}
    headers = {"accept": "application/json"}
    first = orla.post(address(session, "bench_rows"), data, headers=headers).json()
    assert (first["state"], first["tone"], first["item_no"]) == ("recorded", "accepted", glove.item_no)
    again = orla.post(address(session, "bench_rows"), data, headers=headers).json()
    assert (again["state"], again["row"]) == ("recorded", first["row"])
    assert glove.item_no in orla.get(address(session, "bench_rows")).json()["board"]
    assert orla.get(address(session, "bench_scan"), {"scan": glove.item_no}).json()["mode"] == "correct"


def test_a_second_scan_shows_the_row_that_is_there(orla, cast):
    session, (good, void, wet) = day(cast.orla), in_service(count=3)
    typed(session, good, by=cast.orla)
    typed(session, void, None, by=cast.orla, flashover=True)
    typed(session, wet, by=cast.orla, look_after="")
    told = {
        good: "corrects that row, with a reason",
        void: "repeats it; the void row stays readable",
        wet: "inflated and looked at, accepted",
    }
    for glove, words in told.items():
        assert words in orla.get(address(session), {"scan": glove.item_no}).content.decode()


def test_the_look_after_is_stated_later(orla, cast):
    session, (glove,) = day(cast.orla), in_service()
    row = typed(session, glove, by=cast.orla, look_after="")
    assert "Look after it to come" in orla.get(address(session)).content.decode()
    orla.post(address(session, "bench_row", row.pk), {"do": "look", "look_after": "accept"})
    row.refresh_from_db()
    assert (row.outcome, row.look_after, row.looked_by) == ("accepted", "accept", cast.orla)


def test_what_speaks_against_a_piece_is_told_at_the_scan(orla, cast):
    session = day(cast.orla)
    left, right = builders.pair()
    other_left, other_right = builders.pair()
    builders.tested(left, right, other_left, other_right)
    lost, lab = in_service(count=2)
    builders.happened(lost, "lost", reason="not on the truck")
    builders.happened(lab, "moved", holder=builders.holder("lab", "Bay lab").as_fact())
    gone = builders.glove()
    builders.happened(gone, "rejected", reason="cut")
    builders.happened(gone, "destroyed", reason="cut up", witness="ines")
    typed(session, left, by=cast.orla)
    told = {
        other_right: f"Not the mate of {left.item_no}: that is {right.item_no}.",
        lost: "Reported lost on",
        lab: "The book says it is at the lab, Bay lab.",
        gone: "DESTROYED on",
        builders.glove(): "By the book this test would be: first, before issue.",
    }
    for glove, words in told.items():
        assert words in orla.get(address(session), {"scan": glove.item_no}).content.decode(), words
    assert "Not the mate" not in orla.get(address(session), {"scan": right.item_no}).content.decode()
    assert "Not the mate" not in orla.get(address(session), {"scan": other_left.item_no}).content.decode()


def test_a_jumper_row_shows_its_arithmetic(orla, cast):
    jumper = builders.jumper(cable_length_m="3.048")
    builders.tested(jumper)
    session = day(cast.orla)
    page = send(
        orla, session, jumper, "1.250", cable_temp_c="35", method="dc_drop", material="copper"
    ).content.decode()
    assert "at 20 °C: 1.1804 mΩ, at most 1.1548 mΩ" in page
    assert "Rejected" in page
    assert 'value="dc_drop" selected' in page


def test_the_set_says_what_its_worst_jumper_says(orla, cast):
    session = day(cast.orla)
    jumpers = builders.grounding_set(3, set_no="S-7", cable_length_m="3.048")
    builders.tested(*jumpers)
    for jumper, reading in zip(jumpers[:2], ("1.1", "1.25"), strict=True):
        page = send(orla, session, jumper, reading, cable_temp_c="20").content.decode()
    assert "Grounding set S-7" in page
    assert "2 of 3 tested" in page
    assert page.index("Grounding set S-7") < page.index("Rejected", page.index("Grounding set S-7"))


def test_equal_readings_are_confirmed_by_a_person_who_is_named(orla, cast):
    session, gloves = day(cast.orla), in_service(count=5)
    for glove in gloves:
        page = send(orla, session, glove, "12.5").content.decode()
    assert "5 equal readings in a row: 12.5 in rows 1 to 5." in page
    ids = [str(pk) for pk in BenchRow.objects.values_list("pk", flat=True)]
    for nobody, secret in (
        ("", ""),
        (cast.orla.pk, "orla keeps a secret"),
        (cast.bertrand.pk, ""),
        (cast.bertrand.pk, "orla keeps a secret"),
    ):
        sent = {"row": ids, "checker": nobody, "secret": secret}
        assert orla.post(address(session, "bench_confirm"), sent).status_code == 422
    sent = {"row": ids, "checker": cast.bertrand.pk, "secret": "bertrand keeps a secret"}
    orla.post(address(session, "bench_confirm"), sent)
    page = orla.get(address(session)).content.decode()
    assert "equal readings in a row" not in page
    assert "checked by bertrand" in page


def test_a_row_is_struck_in_the_open(orla, cast):
    session, (glove,) = day(cast.orla), in_service()
    row = typed(session, glove, by=cast.orla)
    there = address(session, "bench_row", row.pk)
    failed = typed(session, in_service()[0], "16.4", by=cast.orla)
    alone = {"do": "strike", "why": "another glove", "checker": cast.ines.pk, "secret": "a guess"}
    assert orla.post(address(session, "bench_row", failed.pk), alone).status_code == 422
    assert orla.post(there, {"do": "strike", "why": ""}).status_code == 422
    orla.post(there, {"do": "strike", "why": "another glove"})
    page = orla.get(address(session)).content.decode()
    assert "struck out by orla: another glove" in page


def test_calibration_that_ran_out_and_one_not_on_file_are_told_at_once(orla, cast):
    assert "not on file" in orla.get(address(day(cast.orla))).content.decode()
    Instrument.objects.create(name="M-2", calibration_due_on="2020-01-01")
    page = orla.get(address(day(cast.orla, instrument="M-2"))).content.decode()
    assert "The calibration of M-2 had run out on this day." in page


def test_what_rows_share_is_corrected_and_every_row_judged_again(orla, cast):
    session, (glove,) = day(cast.orla), in_service()
    row = typed(session, glove, by=cast.orla)
    answer = orla.post(address(session, "bench_details"), particulars(purpose="first"), follow=True)
    assert "judged again" in answer.content.decode()
    row.refresh_from_db()
    assert row.outcome == "void"  # 60 s are too short for a first test


def test_a_session_is_abandoned_with_a_reason_and_records_nothing(orla, cast):
    session, (glove,) = day(cast.orla), in_service()
    typed(session, glove, by=cast.orla)
    entries = Entry.objects.count()
    assert orla.post(address(session, "bench_details"), {"abandon": "1", "why": ""}).status_code == 422
    orla.post(address(session, "bench_details"), {"abandon": "1", "why": "the tank leaks"})
    assert "Abandoned: the tank leaks." in orla.get(address(session, "bench_post")).content.decode()
    assert Entry.objects.count() == entries


def test_others_look_on_and_write_nothing(client, cast):
    session, (glove,) = day(cast.orla), in_service()
    typed(session, glove, by=cast.orla)
    client.force_login(cast.halvard)
    page = client.get(address(session)).content.decode()
    assert glove.item_no in page
    assert 'id="scan"' not in page


# Queries do not grow with rows


REQUESTS = {
    "scan": lambda orla, session, glove: orla.get(address(session, "bench_scan"), {"scan": glove.item_no}),
    "save": lambda orla, session, glove: send(orla, session, glove, "12.5", follow=False),
    "page": lambda orla, session, glove: orla.get(address(session)),
    "board": lambda orla, session, glove: orla.get(address(session, "bench_rows")),
    "preview": lambda orla, session, glove: orla.get(address(session, "bench_post")),
}


@pytest.mark.parametrize("request_of", REQUESTS)
def test_queries_do_not_grow_with_rows(orla, cast, request_of):
    session = day(cast.orla)
    pairs = [one for _pair in range(12) for one in builders.pair()]
    builders.tested(*pairs)
    counted = []
    for count, glove in enumerate(pairs):
        if count in (5, 22):
            with CaptureQueriesContext(connection) as queries:
                REQUESTS[request_of](orla, session, glove)
            counted.append(len(queries))
        elif count < 22:
            typed(session, glove, f"{12 + count / 10:.1f}", by=cast.orla)
    assert counted[0] == counted[1]
