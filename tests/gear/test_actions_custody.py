"""Where gear goes and what belongs together: all or none, good only into hands, both ends on record."""

from datetime import date, timedelta

import pytest

from gear.actions import custody, sets
from gear.actions.acting import Act, Refused
from gear.models import Entry, GearSet, ItemState, Refusal
from gear.permissions import NotAllowed
from gear.queries import answer, question
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def orla(db):
    return builders.person("clerk", "orla")


@pytest.fixture
def pair(db):
    """Tested today, on a shelf."""
    gloves = builders.pair()
    builders.tested(*gloves)
    return gloves


def where(item):
    return ItemState.objects.get(item=item).holder.name


def verdicts(*items):
    return [answer(item.item_no, question()).verdict for item in items]


def refused(do, /, *given, **named):
    with pytest.raises(Refused) as refusal:
        do(*given, **named)
    return refusal.value


# Issue and move
def test_a_good_pair_goes_into_somebodys_hands_as_one_act(orla, pair):
    dev = builders.holder("person", "Dev")
    made = custody.issue(pair, to=dev, act=Act(orla))
    assert [entry.kind for entry in made] == ["issued", "issued"]
    assert [where(one) for one in pair] == ["Dev", "Dev"]
    assert made[0].facts["holder"] == {
        "kind": "person",
        "name": "Dev",
        "crew": "Crew 7",
        "depot": "Harbour depot",
    }
    assert verdicts(*pair) == ["good", "good"]


@pytest.mark.parametrize("trouble", ["held", "untested", "overdue", "single"])
def test_nothing_that_is_not_good_today_is_issued_and_none_of_what_comes_with_it(orla, pair, trouble):
    left, right = pair
    if trouble == "held":
        builders.happened(right, "held", reason="x")
    bad = {
        "untested": builders.blanket,
        "overdue": lambda: overdue(),
        "single": lambda: builders.glove(),
        "held": lambda: right,
    }[trouble]()
    error = refused(custody.issue, [left, bad], to=builders.holder("person", "Dev"), act=Act(orla))
    assert error.code in ("NOT_GOOD", "NOT_FROM_HELD")
    assert [where(one) for one in (left, bad)] == ["The shelf", "The shelf"]
    assert not Entry.objects.filter(kind="issued").exists()
    kept = Refusal.objects.get()
    assert (kept.act, kept.code, kept.subject) == ("issue", error.code, f"{left.item_no}, {bad.item_no}")


def overdue():
    blanket = builders.blanket()
    builders.tested(blanket, on=date(2024, 6, 1))
    return blanket


def test_a_refusal_names_the_item(orla, pair):
    blanket = builders.blanket("B-77")
    error = refused(custody.issue, [*pair, blanket], to=builders.holder("person", "Dev"), act=Act(orla))
    assert str(error).startswith("B-77: ")


@pytest.mark.parametrize(
    ("kind", "refuses"),
    [
        ("shelf", False),
        ("bench", False),
        ("lab", False),
        ("truck", True),
        ("person", True),
        ("crew", True),
        ("contractor", True),
    ],
)
def test_a_blocked_item_may_always_come_in_and_never_go_out(orla, kind, refuses):
    blanket = builders.blanket(at=builders.holder("person", "Marisol"))
    builders.happened(blanket, "rejected", reason="torn")
    to = builders.holder(kind, "There")
    if refuses:
        assert refused(custody.move, [blanket], to=to, act=Act(orla)).code == "NOT_GOOD"
        assert where(blanket) == "Marisol"
        return
    assert custody.move([blanket], to=to, act=Act(orla))[0].kind == "returned"
    assert where(blanket) == "There"


def test_lending_from_truck_to_truck_is_a_move_between_hands(pair):
    dev = builders.person("worker", "dev")
    custody.move(pair, to=builders.holder("truck", "T-01"), act=Act(dev))
    made = custody.move(pair, to=builders.holder("truck", "T-02"), act=Act(dev))
    assert {entry.kind for entry in made} == {"moved"}


def test_an_item_is_not_moved_to_where_it_is(orla, pair):
    assert refused(custody.move, pair, to=builders.holder(), act=Act(orla)).code == "SAME_PLACE"


def test_a_worker_issues_nothing_and_a_clerk_of_another_depot_neither(pair):
    dev = builders.holder("person", "Dev")
    with pytest.raises(NotAllowed):
        custody.issue(pair, to=dev, act=Act(builders.person("worker", "dev")))
    stranger = builders.person("clerk", "olive", depot=builders.depot("Hill depot"))
    with pytest.raises(NotAllowed, match="another depot"):
        custody.issue(pair, to=dev, act=Act(stranger))
    assert [refusal.code for refusal in Refusal.objects.order_by("at")] == ["NotAllowed", "NotAllowed"]


def test_the_shelf_limit_is_asked_on_the_day_of_issue(orla):
    blanket = builders.blanket()
    builders.tested(blanket, on=builders.today() - timedelta(days=364))
    custody.issue([blanket], to=builders.holder("truck", "T-01"), act=Act(orla))
    late = builders.blanket()
    builders.tested(late, on=builders.today() - timedelta(days=366))
    assert (
        refused(custody.issue, [late], to=builders.holder("truck", "T-01"), act=Act(orla)).code == "NOT_GOOD"
    )


# Pairs
def test_a_left_and_a_right_of_one_make_become_a_pair(orla):
    left, right = builders.glove(hand="L"), builders.glove(hand="R")
    made = sets.mate(left, right, act=Act(orla))
    assert (made.set_no, made.kind, made.required) == ("P-00001", "pair", 2)
    assert {state.item for state in ItemState.objects.filter(gear_set=made)} == {left, right}
    assert Entry.objects.get(kind="set_formed").facts["required"] == 2


OTHER = [
    {"hand": "L"},
    {"hand": ""},
    {"hand": "R", "cls": "1"},
    {"hand": "R", "size": "11"},
    {"hand": "R", "length_mm": 410},
    {"hand": "R", "type": "I"},
]


@pytest.mark.parametrize("other", OTHER, ids=str)
def test_anything_else_does_not(orla, other):
    left, right = builders.glove(hand="L"), builders.glove(**other)
    assert refused(sets.mate, left, right, act=Act(orla)).code == "PAIR_NEEDS_BOTH_HANDS"
    assert GearSet.objects.count() == 0


def test_a_blanket_and_a_jumper_are_no_pair_and_a_glove_with_itself_neither(orla):
    for kind, columns in (("blanket", {}), ("grounding_jumper", {"cable_size": "2/0"})):
        items = [builders.item(kind, hand=hand, **columns) for hand in "LR"]
        assert refused(sets.mate, *items, act=Act(orla)).code == "PAIR_NEEDS_BOTH_HANDS"
    glove = builders.glove()
    assert refused(sets.mate, glove, glove, act=Act(orla)).code == "PAIR_NEEDS_BOTH_HANDS"


def test_a_glove_is_in_one_pair_at_a_time(orla, pair):
    third = builders.glove(hand="R")
    assert refused(sets.mate, pair[0], third, act=Act(orla)).code == "ALREADY_IN_SET"


def test_splitting_a_pair_leaves_both_odd_and_a_new_mate_makes_a_new_pair(orla, pair):
    left, right = pair
    sets.split(left, act=Act(orla))
    assert verdicts(left, right) == ["stop", "stop"]
    assert refused(sets.split, right, act=Act(orla)).code == "NOT_IN_SET"
    fresh = builders.glove(hand="R")
    builders.tested(fresh)
    sets.mate(left, fresh, act=Act(orla))
    assert verdicts(left, fresh, right) == ["good", "good", "stop"]


@pytest.mark.parametrize("kind", ["rejected", "held", "lost", "sent_for_test"])
def test_what_happens_to_one_hand_stops_the_other(pair, kind):
    left, right = pair
    builders.happened(right, kind, **({} if kind == "sent_for_test" else {"reason": "x"}))
    assert verdicts(left, right) == ["stop", "stop"]


# Numbers
def test_a_set_takes_the_next_number_that_was_never_used(orla):
    builders.pair("P-00002")
    made = [
        sets.mate(builders.glove(hand="L"), builders.glove(hand="R"), act=Act(orla)).set_no
        for _one in range(2)
    ]
    assert made == ["P-00003", "P-00004"]


def test_a_number_of_ones_own_may_be_given_but_never_again(orla):
    assert (
        sets.mate(builders.glove(hand="L"), builders.glove(hand="R"), set_no=" A-7 ", act=Act(orla)).set_no
        == "A-7"
    )
    error = refused(
        sets.mate, builders.glove(hand="L"), builders.glove(hand="R"), set_no="A-7", act=Act(orla)
    )
    assert error.code == "SET_NUMBER_TAKEN"
    assert GearSet.objects.count() == 1


def test_a_number_that_somebody_took_at_the_same_moment_is_passed_over(orla, monkeypatch):
    builders.pair("P-00001")
    numbers = iter(["P-00001", "P-00001", "P-00002"])
    monkeypatch.setattr(sets, "next_number", lambda _kind: next(numbers))
    assert sets.mate(builders.glove(hand="L"), builders.glove(hand="R"), act=Act(orla)).set_no == "P-00002"
    monkeypatch.setattr(sets, "next_number", lambda _kind: "P-00001")
    error = refused(sets.mate, builders.glove(hand="L"), builders.glove(hand="R"), act=Act(orla))
    assert error.code == "SET_NUMBER_TAKEN"


# Grounding sets
def test_jumpers_form_a_grounding_set_and_one_taken_out_leaves_it_short(orla):
    jumpers = [builders.jumper() for _one in range(3)]
    builders.tested(*jumpers)
    made = sets.form_grounding_set(jumpers, act=Act(orla))
    assert (made.set_no, made.required) == ("S-00001", 3)
    assert verdicts(*jumpers) == ["good"] * 3
    sets.split(jumpers[2], reason="clamp", act=Act(orla))
    assert verdicts(*jumpers) == ["stop", "stop", "good"]


@pytest.mark.parametrize("items", [0, 13])
def test_a_grounding_set_has_one_to_twelve_jumpers(orla, items):
    jumpers = [builders.jumper() for _one in range(items)]
    assert refused(sets.form_grounding_set, jumpers, act=Act(orla)).code == "SET_KIND"


def test_only_jumpers_form_a_grounding_set(orla):
    items = [builders.jumper(), builders.blanket()]
    assert refused(sets.form_grounding_set, items, act=Act(orla)).code == "SET_KIND"
