"""What the pages of acts refuse and how they say so; where gear goes, and what sets are made of."""

from datetime import timedelta
from uuid import uuid4

import pytest

from gear import queries
from gear.models import Entry, GearSet, ItemState, Refusal
from tests import builders
from tests.gear.act_forms import address, condition, kinds, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def good():
    """A blanket in date on a shelf."""
    blanket = builders.blanket("B-1")
    builders.tested(blanket, on=builders.today() - timedelta(days=30))
    return blanket


# How it refuses


def refused(client, item, verb, code, **fields):
    """The page again, with its sentence; nothing stored but the refusal."""
    before = Entry.objects.count()
    response = send(client, item, verb, **fields)
    assert response.status_code == 422
    assert Entry.objects.count() == before
    refusal = Refusal.objects.get()
    assert refusal.code == code
    assert refusal.detail.replace("'", "&#x27;") in response.content.decode()


def test_whoever_put_the_hold_on_cannot_release_it(client, cast, good):
    hold = builders.happened(good, "held", reason="smell", by=cast.ines)
    client.force_login(cast.ines)
    refused(client, good, "release", "OWN_HOLD", hold=str(hold.pk), reason="fine")
    assert condition(good) == "held"


def test_an_item_that_is_not_good_goes_to_no_hands(client, cast):
    untested = builders.blanket("B-9")
    client.force_login(cast.orla)
    dev = builders.holder("person", "Dev")
    page = client.get(address(untested, "move")).content.decode()
    assert "it can only go to a shelf, a bench or a lab" in page
    assert f'value="{dev.pk}"' not in page
    assert send(client, untested, "move", to=dev.pk).status_code == 422
    assert send(client, untested, "issue", to=dev.pk).status_code == 422
    bench = builders.holder("bench", "Bench 1")
    assert send(client, untested, "move", to=bench.pk).status_code == 302
    assert kinds(untested) == ["received", "returned"]


def test_an_item_that_stopped_being_good_while_the_page_was_open_is_refused(client, cast, good, monkeypatch):
    dev = builders.holder("person", "Dev")
    client.force_login(cast.orla)
    asked = queries.seen("B-1", queries.question())
    builders.happened(good, "rejected", reason="cut")
    monkeypatch.setattr("gear.views.acts.queries.seen", lambda *_asked: asked)  # as the page saw it
    refused(client, good, "issue", "NOT_FROM_REJECTED", to=dev.pk)


def test_destruction_needs_a_rejection_another_pair_of_eyes_and_a_tick(client, cast, good):
    client.force_login(cast.orla)
    secret = "ines keeps a secret"
    fields = {"witness": cast.ines.pk, "secret": secret, "reason": "cut up", "confirmed": "on"}
    refused(client, good, "destroy", "NOT_FROM_OK", **fields)
    builders.happened(good, "rejected", reason="cut")
    for name in fields:
        assert send(client, good, "destroy", **{**fields, name: ""}).status_code == 422
    assert send(client, good, "destroy", **{**fields, "witness": cast.orla.pk}).status_code == 422
    assert condition(good) == "rejected"
    assert send(client, good, "destroy", **fields).status_code == 302
    assert good.entry_set.get(kind="destroyed").facts["witness"] == "ines"


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"outcome": "accept", "words": ["cut"]}, "OUTCOME_TOO_MILD"),
        ({"outcome": "clean", "words": ["mud", "scratch"]}, "OUTCOME_TOO_MILD"),
    ],
)
def test_a_listed_defect_is_never_accepted(client, cast, good, fields, code):
    client.force_login(cast.dev)
    refused(client, good, "inspect_before_use", code, **fields)


def test_only_words_of_the_kind_are_offered_and_taken(client, cast, good):
    client.force_login(cast.dev)
    page = client.get(address(good, "inspect_before_use")).content.decode()
    assert "eyelet torn to the edge" in page
    assert "broken strands" not in page
    response = send(client, good, "inspect_before_use", outcome="reject", words=["broken_strands"])
    assert response.status_code == 422
    assert kinds(good) == ["received", "tested"]


@pytest.mark.parametrize("verb", ["hold", "reject", "report_lost"])
@pytest.mark.parametrize("reason", ["", "   ", "x" * 501, "a\x07bell"])
def test_a_reason_is_words(client, cast, good, verb, reason):
    client.force_login(cast.dev)
    assert send(client, good, verb, reason=reason).status_code == 422
    assert kinds(good) == ["received", "tested"]


def test_gear_of_another_depot_is_left_to_its_tool_room(client, cast, good):
    cast.orla.depot = builders.depot("Far depot")
    cast.orla.save()
    client.force_login(cast.orla)
    shelf = builders.holder("shelf", "Shelf 9")
    response = send(client, good, "move", to=shelf.pk)
    assert response.status_code == 403
    assert "belongs to another depot" in response.content.decode()


# Where it goes


def test_a_pair_goes_together_unless_somebody_says_otherwise(client, cast):
    left, right = builders.pair()
    builders.tested(left, right, on=builders.today() - timedelta(days=3))
    client.force_login(cast.orla)
    dev = builders.holder("person", "Dev")
    page = client.get(address(left, "issue")).content.decode()
    assert f'value="{right.item_no}" id="id_along_0" checked' in page
    form = {"id": str(uuid4()), "to": dev.pk, "along": [right.item_no]}
    assert [client.post(address(left, "issue"), form).status_code for _time in range(2)] == [302, 302]
    for item in (left, right):
        assert kinds(item).count("issued") == 1
        assert ItemState.objects.get(item=item).holder == dev


def test_only_pieces_of_the_set_can_go_along(client, cast):
    left, right = builders.pair()
    other = builders.glove("G-OTHER")
    client.force_login(cast.orla)
    shelf = builders.holder("bench", "Bench 1")
    assert send(client, left, "move", to=shelf.pk, along=["G-OTHER"]).status_code == 422
    assert kinds(other) == ["received"]


def test_holders_stand_under_their_kinds_and_a_long_list_can_be_narrowed(client, cast, good):
    for number in range(40):
        builders.holder("truck", f"T-{number:02}")
    builders.holder("truck", "T-99", active=False)
    client.force_login(cast.bertrand)
    page = client.get(address(good, "move")).content.decode()
    assert '<optgroup label="Truck">' in page
    assert "Truck T-07, Crew 7" in page
    assert "T-99" not in page
    narrow = client.get(address(good, "move"), {"find": "t-07"}).content.decode()
    assert "T-07" in narrow
    assert "T-08" not in narrow


# Sets


def test_two_hands_become_a_pair_by_number_code_or_serial(client, cast):
    left, right = builders.glove("G-1", hand="L"), builders.glove("G-2", hand="R", serial="TX 88124")
    client.force_login(cast.orla)
    form = {"id": str(uuid4()), "other": "TX 88124", "set_no": "P-77"}
    assert [client.post(address(left, "mate"), form).status_code for _time in range(2)] == [302, 302]
    assert {ItemState.objects.get(item=one).gear_set.set_no for one in (left, right)} == {"P-77"}
    assert GearSet.objects.count() == 1
    assert send(client, left, "split", reason="").status_code == 302
    assert all(ItemState.objects.get(item=one).gear_set is None for one in (left, right))


@pytest.mark.parametrize(
    ("other", "sentence"),
    [
        ("G-404", "There is no item G-404 in the book."),
        ("7741", "7741 is the serial of G-3, G-4. Give the item number."),
        ("", "This field is required."),
    ],
)
def test_the_other_hand_must_be_one_item(client, cast, other, sentence):
    left = builders.glove("G-1", hand="L")
    builders.glove("G-3", hand="R", serial="7741", maker="Northbay")
    builders.glove("G-4", hand="R", serial="7741", maker="Southbay")
    client.force_login(cast.orla)
    response = send(client, left, "mate", other=other)
    assert response.status_code == 422
    assert sentence in response.content.decode()


@pytest.mark.parametrize("columns", [{"hand": "L"}, {"hand": "R", "cls": "3"}, {"hand": "R", "size": "9"}])
def test_a_pair_is_a_left_and_a_right_of_one_make(client, cast, columns):
    left = builders.glove("G-1", hand="L")
    builders.glove("G-2", **columns)
    client.force_login(cast.orla)
    refused(client, left, "mate", "PAIR_NEEDS_BOTH_HANDS", other="G-2")


def test_jumpers_become_a_grounding_set(client, cast):
    jumpers = [builders.jumper(f"J-{number}") for number in range(1, 4)]
    client.force_login(cast.orla)
    response = send(client, jumpers[0], "form_set", jumpers="J-2\r\nJ-3", set_no="")
    assert response.status_code == 302
    gear_set = GearSet.objects.get()
    assert (gear_set.kind, gear_set.required) == ("grounding", 3)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("J-2\nJ-2", "J-2 stands here twice."),
        ("J-1", "J-1 stands here twice."),
        ("J-9", "There is no item J-9 in the book."),
        ("\n".join(f"J-{number}" for number in range(20, 40)), "at most 12 jumpers"),
    ],
)
def test_a_list_of_jumpers_is_read_line_by_line(client, cast, typed, sentence):
    jumper = builders.jumper("J-1")
    builders.jumper("J-2")
    client.force_login(cast.orla)
    response = send(client, jumper, "form_set", jumpers=typed)
    assert response.status_code == 422
    assert sentence in response.content.decode()
    assert not GearSet.objects.exists()


def test_a_blanket_belongs_in_no_grounding_set(client, cast):
    jumper = builders.jumper("J-1")
    builders.blanket("B-1")
    client.force_login(cast.orla)
    refused(client, jumper, "form_set", "SET_KIND", jumpers="B-1")
