"""`/t/CODE`: a worker holds a piece and asks. The page says the verdict first, and nothing on it may mislead."""

import re
from datetime import date

import pytest
import time_machine
from django.core.cache import cache

from gear import queries, wording
from gear.models import GivenAnswer
from gear.rules import codes
from gear.rules.readiness import Reason
from tests import builders
from tests.gear.answer_page import CODES, NOBODYS, NOW, glove_pair, says_good, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def morning_of_the_first_of_june():
    cache.clear()
    with time_machine.travel(NOW, tick=False):
        yield
    cache.clear()


# The verdict


def test_good_says_until_when_before_anything_else(client):
    glove_pair()
    text = text_of(client.get(f"/t/{CODES[0]}"))
    main = text[text.index("Skip") :]
    assert main.index("GOOD THROUGH 31 MAR 2027") < main.index("G-1")


def test_identity_is_shown_for_comparison_with_the_stamp(client):
    glove_pair()
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert "Does the stamped serial match?" in text
    for mark in ("G-1", "TX 88123", "class 2", "left", "size 10", "360 mm (14.2 in)", "Type I", "Northbay"):
        assert mark in text


def test_rating_is_the_maximum_use_voltage_and_never_the_proof_voltage(client):
    glove_pair()
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert "MAX USE 17,000 V" in text
    assert "phase-to-phase" in text
    for proof in ("20,000", "20000", "20 kV", "20kV", "50,000", "50 kV"):
        assert proof not in text


@pytest.mark.parametrize(
    ("cls", "max_use", "proofs"),
    [
        # 29 CFR 1910.137 Tables I-1, I-2 and I-4 in the pack: maximum use, then AC and DC proof
        ("00", "500 V", ("2,500", "2.5 kV", "10,000", "10 kV")),
        ("0", "1,000 V", ("5,000", "5 kV", "20,000", "20 kV")),
        ("1", "7,500 V", ("10,000", "10 kV", "40,000", "40 kV")),
        ("3", "26,500 V", ("30,000", "30 kV", "60,000", "60 kV")),
        ("4", "36,000 V", ("40,000", "40 kV", "70,000", "70 kV")),
    ],
)
def test_no_class_shows_a_proof_voltage(client, cls, max_use, proofs):
    builders.blanket("B-1", cls=cls, label=CODES[0])
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert f"MAX USE {max_use}" in text
    for proof in proofs:
        assert not re.search(rf"(?<![\d,.]){re.escape(proof)}", text)


def test_rigid_cover_names_what_its_voltage_is_between_and_asks_to_confirm(client):
    builders.item("rigid_cover", "C-1", cls="4", label=CODES[0])
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert "36,600 V" in text
    assert "21,100 V from covered phase to ground" in text
    assert "between two covered phases" in text
    assert "confirm against your own copy of the standard" in text


def test_a_grounding_set_shows_the_grade_of_its_weakest_piece(client):
    strong = builders.jumper("J-1", cable_size="4/0", clamp_grade="5", ferrule_grade="5", label=CODES[0])
    weak = builders.jumper("J-2", cable_size="4/0", clamp_grade="3", ferrule_grade="5")
    builders.gather(strong, weak, set_no="GS-1", kind="grounding")
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert "GRADE OF THE SET 3" in text
    assert "This jumper: grade 5" in text
    assert "27 kA" in text  # ASTM F855 Table 1, grade 3, 15 cycles
    assert "43 kA" not in text


def test_stop_lists_every_reason_worst_first_with_whom_to_see_and_source(client, cast):
    blanket = builders.blanket("B-1", label=CODES[0])
    builders.tested(blanket, on=date(2025, 1, 10))
    builders.happened(blanket, "needs_cleaning", on=date(2026, 5, 1), reason="oil")
    builders.happened(blanket, "held", on=date(2026, 5, 2), reason="odd smell")
    client.force_login(cast.dev)
    response = client.get(f"/t/{CODES[0]}")
    text = text_of(response)
    places = [
        text.index(words) for words in ("STOP. DO NOT USE", "odd smell", "Shelf time over", "Clean first")
    ]
    assert places == sorted(places)
    assert text.count("See the ") == 3
    assert "29 CFR 1910.137" in text
    assert not says_good(response)


def test_notes_are_told_and_change_nothing(client):
    glove_pair()
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert "No pre-use inspection is recorded for this day" in text
    assert "GOOD THROUGH" in text


def test_the_dates_of_the_piece_and_of_its_set_stand_side_by_side(client):
    left, right = glove_pair()
    builders.tested(left, on=date(2026, 5, 20))
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert "GOOD THROUGH 19 MAY 2027" in text
    assert "Together with its set P-7 only through 31 MAR 2027" in text
    assert "Its set P-7 good through 31 MAR 2027" in text


def test_a_date_beside_a_stop_is_not_called_good(client):
    left, _right = glove_pair()
    builders.happened(left, "held", reason="odd smell")
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert "This piece by date alone: through 31 MAR 2027" in text
    assert "good through" not in text.lower()


def test_the_moment_zone_age_and_rule_pack_are_stated(client):
    glove_pair()
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert "Answered 1 JUN 2026 05:52 EDT (America/New_York), data 0 s old, rule pack us_federal 1" in text
    assert "at this moment only" in text
    assert "The qualified person decides" in text or "the qualified person decides" in text


# Codes as they come


@pytest.mark.parametrize("prefix", ["/t/", "/T/"])
@pytest.mark.parametrize(
    "form", [str, str.lower, codes.grouped, lambda code: codes.grouped(code).lower(), "{}/".format]
)
def test_a_code_is_read_in_any_case_and_grouping(client, prefix, form):
    glove_pair()
    assert says_good(client.get(prefix + form(CODES[0])))


def test_the_address_printed_on_the_label_may_be_typed_whole(client, settings):
    glove_pair()
    typed = f"{settings.BASE_URL.upper()}/T/{CODES[0]}"
    response = client.get("/t/", {"code": typed})
    assert (response.status_code, response.headers["Location"]) == (302, f"/t/{CODES[0]}")


def test_the_empty_form_asks_for_a_code(client):
    assert "Code on the label" in text_of(client.get("/t/"))
    assert "Code on the label" in text_of(client.get("/T/", {"code": "  "}))


@pytest.mark.parametrize(
    "text",
    [
        NOBODYS,
        CODES[0][:-1] + ("2" if CODES[0][-1] != "2" else "3"),
        "https://gear.example.org/T/" + CODES[0],
        "javascript:alert(1)",
        "tel:+15550100",
        "../../admin/",
        "G-1",
        "%00%01",
        "0" * 2000,
        "\u202e" + CODES[0],
        "' OR 1=1 --",
        "<script>alert(1)</script>",
    ],
)
@pytest.mark.parametrize("by_form", [False, True])
def test_whatever_is_no_code_of_this_book_is_unknown_on_a_full_page(client, text, by_form):
    glove_pair()
    response = (
        client.get("/t/", {"code": text})
        if by_form
        else client.get("/t/" + text.replace("?", ""), follow=True)
    )
    if by_form and response.status_code == 302:
        response = client.get(response.headers["Location"])
    assert response.status_code == 200
    assert "CAN'T SAY. DO NOT USE" in text_of(response).replace("&#x27;", "'")
    assert not says_good(response)
    assert "<script>alert" not in response.content.decode()


def test_codes_nobody_issued_and_codes_of_another_place_get_the_same_page(client):
    glove_pair()
    own, foreign = (
        client.get("/t/", {"code": code}, follow=True)
        for code in (NOBODYS, f"https://elsewhere.example/T/{CODES[0]}")
    )
    told = [text_of(page).replace(codes.grouped(NOBODYS), "No code was read") for page in (own, foreign)]
    assert told[0] == told[1]
    assert "Not in the book. Hand it in." in told[0]


def test_a_replaced_label_stops_and_still_names_the_piece(client):
    left, _right = glove_pair()
    builders.happened(left, "labelled", code=CODES[5], replaces=CODES[0])
    old, new = client.get(f"/t/{CODES[0]}"), client.get(f"/t/{CODES[5]}")
    assert "STOP. DO NOT USE Old label." in text_of(old)
    assert "G-1" in text_of(old)
    assert says_good(new)


def test_a_destroyed_piece_is_an_alarm_and_the_sighting_is_kept(client):
    left, _right = glove_pair()
    builders.happened(left, "rejected", reason="cut")
    builders.happened(left, "destroyed", reason="cut up", witness="ines")
    assert "SCRAPPED ITEM." in text_of(client.get(f"/t/{CODES[0]}"))
    sighting = GivenAnswer.objects.get()
    assert (sighting.item.item_no, sighting.reasons[0]) == ("G-1", "DESTROYED")


# Who sees what


def test_a_visitor_sees_neither_names_nor_what_was_typed(client, cast):
    left, right = glove_pair()
    builders.issued(left, right, to=builders.holder("person", "Marisol Vane"))
    builders.happened(left, "held", reason="Bertrand found a cut", by=cast.dev)
    text = text_of(client.get(f"/t/{CODES[0]}"))
    for name in ("Marisol", "Bertrand", "dev", "Crew 7", "Harbour"):
        assert name not in text
    assert "On hold since 1 JUN 2026: sign in to read why." in text


def test_whoever_has_signed_in_sees_holder_and_reason(client, cast):
    left, right = glove_pair()
    builders.issued(left, right, to=builders.holder("person", "Marisol Vane"))
    builders.happened(left, "held", reason="Bertrand found a cut", by=cast.dev)
    client.force_login(cast.dev)
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert "Bertrand found a cut" in text
    assert "Held by Marisol Vane, Crew 7" in text


@pytest.mark.parametrize("event", wording.EVENTS)
def test_fixed_words_are_no_secret(event):
    reason = Reason("HELD", values={"on": date(2026, 6, 1), "why": event})
    assert wording.without_free_text(reason) == reason


def test_a_site_may_ask_everybody_to_sign_in_first(client, cast, settings):
    settings.ANSWER_NEEDS_SIGN_IN = True
    glove_pair()
    response = client.get(f"/t/{CODES[0]}")
    assert (response.status_code, response.headers["Location"]) == (302, f"/login/?next=/t/{CODES[0]}")
    client.force_login(cast.dev)
    assert says_good(client.get(f"/t/{CODES[0]}"))


def test_a_person_who_was_deactivated_is_a_visitor(client, cast):
    left, _right = glove_pair()
    builders.happened(left, "held", reason="Bertrand found a cut", by=cast.marisol)
    client.force_login(cast.dev)
    cast.dev.is_active = False
    cast.dev.save()
    assert "Bertrand" not in text_of(client.get(f"/t/{CODES[0]}"))


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_nothing_can_be_sent_to_an_answer(client, method):
    glove_pair()
    assert getattr(client, method)(f"/t/{CODES[0]}").status_code == 405


def test_the_verdict_is_that_of_the_one_decision(client):
    glove_pair()
    asked = queries.question()
    for code, item_no in ((CODES[0], "G-1"), (CODES[1], "G-2")):
        told = queries.answer(item_no, asked)
        assert wording.verdict(told) in text_of(client.get(f"/t/{code}"))


# What is left out


def test_nobody_is_told_to_inspect_before_use_what_must_not_be_used(client):
    left, _right = glove_pair()
    builders.happened(left, "held", reason="odd smell")
    assert "No pre-use inspection" not in text_of(client.get(f"/t/{CODES[0]}"))


def test_two_holds_for_one_cause_are_told_once_and_two_causes_twice(client, cast):
    left, _right = glove_pair()
    for reason in ("odd smell", "odd smell", "sticky"):
        builders.happened(left, "held", reason=reason)
    client.force_login(cast.dev)
    text = text_of(client.get(f"/t/{CODES[0]}"))
    assert text.count("On hold since 1 JUN 2026: odd smell.") == 1
    assert text.count("On hold since 1 JUN 2026: sticky.") == 1


def test_a_zone_whose_short_name_is_its_name_is_told_once(client, settings):
    settings.TIME_ZONE = "UTC"
    glove_pair()
    assert "09:52 UTC , data 0 s old" in text_of(client.get(f"/t/{CODES[0]}"))


def test_what_has_no_serial_is_compared_by_its_other_marks(client):
    builders.jumper("J-1", label=CODES[2])
    text = text_of(client.get(f"/t/{CODES[2]}"))
    assert "Do these marks match the piece?" in text
    assert "stamped serial" not in text


def test_damage_that_was_not_named_is_told_without_a_stutter(client):
    left, _right = glove_pair()
    builders.happened(left, "inspected", outcome="reject", scope="pre_use")
    assert "Found damaged on 1 JUN 2026." in text_of(client.get(f"/t/{CODES[0]}"))
