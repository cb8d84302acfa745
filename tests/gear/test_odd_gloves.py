"""Single gloves: which they are, which pairs they make, and that one click splits the broken set and mates them."""

import re
from uuid import uuid4

import pytest
from django.urls import reverse

from gear.actions import sets
from gear.actions.acting import Act, Refused
from gear.models import Entry, GearSet, ItemState
from gear.permissions import NotAllowed
from gear.queries import answer, question
from gear.queries.pairs import odd_pieces
from tests import builders
from tests.gear.act_forms import told
from tests.gear.test_exchange import ago, good_pair

pytestmark = pytest.mark.django_db


def broken(keep, *, by="rejected", tested=30, **columns):
    """The one glove that is left of a pair."""
    pair = good_pair(tested=tested, **columns)
    left, right = pair
    kept, gone = (left, right) if keep == "L" else (right, left)
    builders.happened(gone, by, reason="torn")
    return kept


def odd():
    return {one.facts.item_no: one for one in odd_pieces(question())}


def set_no(item):
    gear_set = ItemState.objects.get(item=item).gear_set
    return gear_set.set_no if gear_set else None


@pytest.fixture
def orla(db):
    return builders.person("clerk", "orla")


@pytest.mark.parametrize(
    ("trouble", "proposed"),
    [
        (None, True),
        (("held", {"reason": "odd smell"}), False),
        (("needs_cleaning", {"reason": "oil"}), False),
        (("event", {"event": "suspect"}), False),
        (("issued", {}), False),
    ],
    ids=str,
)
def test_only_what_has_nothing_else_against_it_and_lies_in_nobodys_hands_is_proposed(db, trouble, proposed):
    left = broken("L")
    if trouble:
        kind, facts = trouble
        facts = facts or {"holder": builders.holder("person", "Dev").as_fact()}
        builders.happened(left, kind, **facts)
    (one,) = odd().values()
    assert (one.facts.item_no, one.single is not None) == (left.item_no, proposed)


def test_an_overdue_or_untested_piece_is_listed_and_not_proposed(db):
    overdue, untested = broken("L", tested=500), builders.glove()
    found = odd()
    assert found[overdue.item_no].single is None
    assert found[untested.item_no].single is None


def test_a_whole_pair_and_a_pair_whose_mate_is_at_the_lab_are_not_odd(db):
    good_pair()
    left, _right = good_pair()
    builders.happened(left, "sent_for_test")
    assert odd() == {}


def test_what_a_single_promises_is_what_the_pair_then_gives_once_issued(orla):
    left, right = broken("L", tested=20), broken("R", tested=300)
    found = odd()
    promised = min(found[left.item_no].single.gives, found[right.item_no].single.gives)
    sets.remate(left, right, act=Act(orla))
    builders.issued(left, right)
    days = [answer(one.item_no, question()).good_through for one in (left, right)]
    assert min(days) == promised


def test_mating_two_single_gloves_splits_their_broken_sets_in_the_same_act(orla):
    left, right = broken("L"), broken("R", by="lost")
    old = {set_no(left), set_no(right)}
    made = sets.remate(left, right, act=Act(orla))
    assert {set_no(left), set_no(right)} == {made.set_no}
    assert made.set_no not in old
    assert not ItemState.objects.filter(gear_set__set_no__in=old).exists()
    assert [answer(one.item_no, question()).verdict for one in (left, right)] == ["good", "good"]


@pytest.mark.parametrize("columns", [{"size": "11"}, {"cls": "0"}, {"length_mm": 410}], ids=str)
def test_what_does_not_belong_together_is_refused_and_no_set_is_split(orla, columns):
    left, right = broken("L"), broken("R", **columns)
    before, old = Entry.objects.count(), set_no(left)
    with pytest.raises(Refused) as error:
        sets.remate(left, right, act=Act(orla))
    assert error.value.code == "PAIR_NEEDS_BOTH_HANDS"
    assert (Entry.objects.count(), set_no(left)) == (before, old)


def test_a_glove_whose_mate_is_only_held_is_not_torn_from_it(orla):
    left, mate = good_pair()
    builders.happened(mate, "held", reason="odd smell")
    with pytest.raises(Refused) as error:
        sets.remate(left, broken("R"), act=Act(orla))
    assert error.value.code == "ALREADY_IN_SET"


def test_only_a_clerk_mates(db):
    with pytest.raises(NotAllowed):
        sets.remate(broken("L"), broken("R"), act=Act(builders.person("worker", "dev")))


# The page


def page(response):
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def test_one_click_mates_a_proposed_pair_and_the_page_empties(client, cast):
    client.force_login(cast.orla)
    left, right = broken("L"), broken("R")
    address = reverse("odd_gloves")
    shown = client.get(address)
    assert "1 pair can be made" in page(shown)
    assert f"{left.item_no}" in page(shown)
    fields = dict(
        re.findall(r'<input type="hidden" name="(id|left|right)" value="([^"]+)"', shown.content.decode())
    )
    assert (fields["left"], fields["right"]) == (left.item_no, right.item_no)
    sent = client.post(address, fields)
    assert sent.status_code == 302
    assert f"{left.item_no} and {right.item_no} are the pair P-" in told(sent)[0]
    count = GearSet.objects.count()
    assert client.post(address, fields).status_code == 302  # sent twice is done once
    assert GearSet.objects.count() == count
    assert "Every glove and every sleeve has its mate." in page(client.get(address))


@pytest.mark.parametrize(
    "fields", [{}, {"id": "x"}, {"left": "NOPE", "right": "NOPE"}, {"left": "", "right": "\x00"}]
)
def test_a_form_that_somebody_bent_mates_nothing(client, cast, fields):
    client.force_login(cast.orla)
    sent = client.post(reverse("odd_gloves"), {"id": str(uuid4()), **fields})
    assert sent.status_code == 422
    assert 'role="alert"' in sent.content.decode()


def test_a_refusal_is_told_on_the_page(client, cast):
    client.force_login(cast.orla)
    left, right = broken("L"), broken("R", size="11")
    sent = client.post(
        reverse("odd_gloves"), {"id": str(uuid4()), "left": left.item_no, "right": right.item_no}
    )
    assert sent.status_code == 422
    assert "A pair is a left and a right of one kind" in page(sent)


@pytest.mark.parametrize("pieces", [1, 7])
def test_the_queries_do_not_grow(db, pieces, django_assert_num_queries):
    for _one in range(pieces):
        broken("L")
    asked = question(ago(0))
    with django_assert_num_queries(6):
        assert len(odd_pieces(asked)) == pieces
