"""Change-out: a new pair and the old one, as one act; few days and another size are never passed over."""

from datetime import timedelta
from types import SimpleNamespace
from uuid import uuid4

import pytest

from gear.actions import custody
from gear.actions.acting import Act, Refused
from gear.actions.exchange import Exchange, Unconfirmed, cautions_of, exchange, old_pair_of
from gear.models import Entry, ItemState, Refusal
from gear.permissions import NotAllowed
from gear.queries import answer, question
from gear.queries.not_returned import not_returned
from gear.queries.pairs import pair_with
from tests import builders

pytestmark = pytest.mark.django_db


def ago(days):
    return builders.today() - timedelta(days=days)


def good_pair(set_no=None, *, tested=20, **columns):
    """On a shelf, never issued."""
    made = builders.pair(set_no, **columns)
    builders.tested(*made, on=ago(tested), purpose="first")
    return made


def worn_pair(person, *, tested=150, **columns):
    made = builders.pair(**columns)
    builders.tested(*made, on=ago(tested))
    builders.issued(*made, to=person, on=ago(tested - 1))
    return made


@pytest.fixture
def counter(db):
    return SimpleNamespace(
        orla=builders.person("clerk", "orla"),
        dev=builders.holder("person", "Dev"),
        shelf=builders.holder("shelf", "Returns"),
        new=good_pair("P-0100"),
    )


def asked(counter, *, to=None, new=None, old=(), shelf=None, confirm_all=False, **stated):
    new, to = new or counter.new[0], to or counter.dev
    pair = pair_with(new, question())
    facts = [pair_with(one, question()).pieces for one in old[:1]]
    tokens = cautions_of(pair, old=[one for pieces in facts for one in pieces], to=to) if confirm_all else ()
    return Exchange(
        to,
        new,
        tuple(old),
        shelf,
        **{"days_shown": pair.days, "confirmed": frozenset(one.token for one in tokens), **stated},
    )


def where(*items):
    return [ItemState.objects.get(item=one).holder.name for one in items]


def refused(counter, wanted):
    before = Entry.objects.count()
    with pytest.raises(Refused) as error:
        exchange(wanted, act=Act(counter.orla))
    assert Entry.objects.count() == before
    return error.value


# One act


def test_the_new_pair_goes_out_and_the_old_one_comes_back_under_one_number(counter):
    old, act = worn_pair(counter.dev), Act(counter.orla)
    exchange(asked(counter, old=old, shelf=counter.shelf), act=act)
    assert where(*counter.new, *old) == ["Dev", "Dev", "Returns", "Returns"]
    made = Entry.objects.filter(facts__batch=str(act.id))
    assert sorted(made.values_list("kind", flat=True)) == ["issued", "issued", "returned", "returned"]
    numbers = sorted(one.item_no for one in old)
    assert [one.facts["replaces"] for one in made.filter(kind="issued")] == [numbers, numbers]
    assert not_returned(question()) == []


def test_the_first_pair_of_a_person_replaces_nothing(counter):
    exchange(asked(counter), act=Act(counter.orla))
    assert where(*counter.new) == ["Dev", "Dev"]
    assert "replaces" not in Entry.objects.filter(kind="issued").first().facts


@pytest.mark.parametrize(
    ("kind", "facts"),
    [
        ("rejected", {"reason": "torn"}),
        ("held", {"reason": "odd smell"}),
        ("lost", {"reason": "not seen"}),
        ("needs_cleaning", {"reason": "oil"}),
        ("sent_for_test", {}),
    ],
)
def test_an_old_pair_is_never_refused_whatever_is_wrong_with_it(counter, kind, facts):
    old = worn_pair(counter.dev, tested=400)
    builders.happened(old[0], kind, **facts)
    exchange(asked(counter, old=old, shelf=counter.shelf), act=Act(counter.orla))
    assert where(*old) == ["Returns", "Returns"]


def test_a_destroyed_piece_is_no_old_pair(counter):
    old = worn_pair(counter.dev)
    builders.happened(old[0], "rejected", reason="cut", on=ago(2))
    builders.happened(old[0], "destroyed", reason="cut up", witness="ines", on=ago(1))
    assert refused(counter, asked(counter, old=old, shelf=counter.shelf)).code == "DESTROYED_IS_FINAL"


def test_a_scan_of_one_glove_brings_back_both_but_not_a_mate_that_is_elsewhere(counter):
    left, right = worn_pair(counter.dev)
    assert set(old_pair_of(left)) == {left, right}
    builders.happened(right, "returned", holder=builders.holder("bench", "Bench").as_fact())
    assert old_pair_of(left) == (left,)


# What is refused


def spoiled(counter, trouble):
    left, right = counter.new
    if trouble == "overdue":
        return good_pair(tested=500)[0]
    if trouble == "untested":
        return builders.pair()[0]
    if trouble == "odd":
        glove = builders.glove()
        builders.tested(glove)
        return glove
    if trouble == "blanket":
        return builders.blanket()
    if trouble == "with Marisol":
        return worn_pair(builders.holder("person", "Marisol"), tested=10)[0]
    if trouble == "apart":
        builders.happened(right, "returned", holder=builders.holder("bench", "Bench").as_fact())
    elif trouble == "held":
        builders.happened(right, "held", reason="odd smell")
    elif trouble == "mate destroyed":
        builders.happened(right, "rejected", reason="cut", on=ago(2))
        builders.happened(right, "destroyed", reason="cut", witness="ines", on=ago(1))
    return left


@pytest.mark.parametrize(
    ("trouble", "code"),
    [
        ("overdue", "NOT_GOOD"),
        ("untested", "NOT_GOOD"),
        ("held", "NOT_GOOD"),
        ("mate destroyed", "NOT_GOOD"),
        ("odd", "PAIR_NOT_COMPLETE"),
        ("blanket", "NOT_A_PAIR"),
        ("with Marisol", "PAIR_IN_HANDS"),
        ("apart", "PAIR_APART"),
    ],
)
def test_what_is_no_good_pair_on_a_shelf_is_refused_and_the_refusal_kept(counter, trouble, code):
    new = spoiled(counter, trouble)
    wanted = Exchange(counter.dev, new, days_shown=None)
    assert refused(counter, wanted).code == code
    assert Refusal.objects.get().code == code


def test_the_pair_itself_is_not_its_own_old_pair(counter):
    wanted = asked(counter, old=counter.new, shelf=counter.shelf, confirm_all=True)
    assert refused(counter, wanted).code == "PAIR_OF_ITSELF"


def test_a_pair_goes_to_a_person_in_use_alone(counter):
    assert refused(counter, asked(counter, to=builders.holder("truck", "T-01"))).code == "NOT_A_PERSON"
    counter.dev.active = False
    counter.dev.save()
    assert refused(counter, asked(counter)).code == "NOT_A_PERSON"


def test_the_old_pair_goes_to_a_shelf_and_only_what_the_person_has_can_stay_out(counter):
    old = worn_pair(counter.dev)
    truck = builders.holder("truck", "T-01")
    assert refused(counter, asked(counter, old=old, shelf=truck)).code == "OLD_TO_SHELF"
    others = worn_pair(builders.holder("person", "Marisol"))
    assert refused(counter, asked(counter, old=others, confirm_all=True)).code == "OLD_NOT_THEIRS"


@pytest.mark.parametrize("role", ["worker", "foreman", "supervisor", "auditor", "administrator"])
def test_only_a_clerk_exchanges(counter, role):
    with pytest.raises(NotAllowed):
        exchange(asked(counter), act=Act(builders.person(role)))


def test_a_clerk_of_another_depot_does_not(counter):
    olive = builders.person("clerk", "olive", depot=builders.depot("Hill depot"))
    with pytest.raises(NotAllowed, match="another depot"):
        exchange(asked(counter), act=Act(olive))


# What must be said first


def cautions(counter, new, old=()):
    pieces = pair_with(old[0], question()).pieces if old else ()
    return [one.code for one in cautions_of(pair_with(new, question()), old=pieces, to=counter.dev)]


@pytest.mark.parametrize(
    ("columns", "expected"),
    [
        ({}, []),
        ({"size": "9.5"}, ["SIZE_DIFFERS"]),
        ({"cls": "0"}, ["CLASS_DIFFERS"]),
        ({"length_mm": 410}, ["LENGTH_DIFFERS"]),
        ({"cls": "3", "size": "11"}, ["CLASS_DIFFERS", "SIZE_DIFFERS"]),
        ({"size": ""}, ["SIZE_DIFFERS"]),
    ],
    ids=str,
)
@pytest.mark.parametrize("handed_over", [True, False])
def test_another_class_size_or_length_than_the_present_pair_is_a_caution(
    counter, columns, expected, handed_over
):
    old = worn_pair(counter.dev)
    new = good_pair(**columns)
    assert cautions(counter, new[0], old if handed_over else ()) == expected
    wanted = asked(counter, new=new[0], old=old, shelf=counter.shelf)
    if expected:
        error = refused(counter, wanted)
        assert isinstance(error, Unconfirmed)
        assert [one.code for one in error.cautions] == expected
    exchange(
        asked(counter, new=new[0], old=old, shelf=counter.shelf, confirm_all=True), act=Act(counter.orla)
    )
    assert where(*new) == ["Dev", "Dev"]


def test_without_an_old_pair_the_likest_of_what_the_person_has_is_compared(counter):
    worn_pair(counter.dev, cls="0", length_mm=280)
    worn_pair(counter.dev)
    assert cautions(counter, counter.new[0]) == []
    assert cautions(counter, good_pair(cls="0", length_mm=280)[0]) == []


@pytest.mark.parametrize(("left", "caution"), [(27, True), (28, False)])
def test_few_days_are_never_passed_over(counter, left, caution):
    """The shipped policy speaks of 28 days: 12 months from the test are over before 6 from the issue."""
    anniversary = builders.today() + timedelta(days=left + 1)
    new = builders.pair(received_on=ago(400))
    builders.tested(*new, on=anniversary.replace(year=anniversary.year - 1), purpose="first")
    assert pair_with(new[0], question()).days == left
    assert cautions(counter, new[0]) == (["FEW_DAYS"] if caution else [])
    if caution:
        assert isinstance(refused(counter, asked(counter, new=new[0])), Unconfirmed)
        exchange(asked(counter, new=new[0], confirm_all=True), act=Act(counter.orla))
        note = Entry.objects.filter(kind="issued").first().facts["note"]
        assert note == "confirmed: FEW_DAYS"


@pytest.mark.parametrize("shown", [None, 0, 400])
def test_a_pair_never_goes_out_with_other_days_than_were_shown(counter, shown):
    assert refused(counter, asked(counter, days_shown=shown)).code == "DAYS_CHANGED"


def test_a_tick_for_one_pair_is_no_tick_for_another(counter):
    old, larger, smaller = worn_pair(counter.dev), good_pair(size="11"), good_pair(size="8")
    ticked = asked(counter, new=larger[0], old=old, shelf=counter.shelf, confirm_all=True).confirmed
    error = refused(counter, asked(counter, new=smaller[0], old=old, shelf=counter.shelf, confirmed=ticked))
    assert isinstance(error, Unconfirmed)


def test_an_old_pair_that_the_record_has_elsewhere_is_told_and_comes_back(counter):
    old = worn_pair(builders.holder("person", "Marisol"))
    wanted = asked(counter, old=old, shelf=counter.shelf)
    assert [one.code for one in refused(counter, wanted).cautions] == ["OLD_ELSEWHERE"]
    exchange(asked(counter, old=old, shelf=counter.shelf, confirm_all=True), act=Act(counter.orla))
    assert where(*old) == ["Returns", "Returns"]


def test_the_days_are_those_of_the_clock_that_starts_with_the_issue(counter):
    """Tested 20 days ago and never issued: good for 12 months on the shelf, for 6 from today once it is issued."""
    shelf_day = answer(counter.new[0].item_no, question()).good_through
    promised = pair_with(counter.new[0], question()).gives
    assert promised < shelf_day
    exchange(asked(counter), act=Act(counter.orla))
    assert answer(counter.new[0].item_no, question()).good_through == promised


# Old pairs that stay out


@pytest.fixture
def kept(counter):
    """Dev got a new pair on record and kept the old one."""
    old, act = worn_pair(counter.dev), Act(counter.orla, id=uuid4())
    exchange(asked(counter, old=old), act=act)
    return old


def still_out():
    return [sorted(one.item_no for one in row.pieces) for row in not_returned(question())]


def numbers(items):
    return sorted(one.item_no for one in items)


def test_an_old_pair_that_is_kept_stands_on_the_list_until_it_is_elsewhere(counter, kept):
    (row,) = not_returned(question())
    assert (row.person, row.place.crew, row.days) == ("Dev", "Crew 7", 0)
    assert numbers(kept) == sorted(one.item_no for one in row.pieces)
    assert sorted(row.by_pieces) == numbers(counter.new)
    custody.move([kept[0]], to=counter.shelf, act=Act(counter.orla))
    assert still_out() == [[kept[1].item_no]]
    custody.move([kept[1]], to=counter.shelf, act=Act(counter.orla))
    assert still_out() == []


def test_reporting_it_lost_takes_it_off_no_list(kept):
    for one in kept:
        builders.happened(one, "lost", reason="cannot find it")
    assert still_out() == [numbers(kept)]


def test_an_old_pair_that_came_back_and_goes_to_the_same_person_anew_is_no_old_pair(counter, kept):
    custody.move(kept, to=counter.shelf, act=Act(counter.orla))
    builders.tested(*kept)
    custody.issue(kept, to=counter.dev, act=Act(counter.orla))
    assert where(*kept) == ["Dev", "Dev"]
    assert still_out() == []


def test_a_return_that_was_entered_by_mistake_and_withdrawn_puts_it_back_on_the_list(counter, kept):
    for entry in custody.move(kept, to=counter.shelf, act=Act(counter.orla)):
        builders_correct(entry)
    assert where(*kept) == ["Dev", "Dev"]
    assert still_out() == [numbers(kept)]


def builders_correct(entry):
    from gear.ledger import Draft, record

    facts = {"reason": "another glove", "replacement": None}
    record(Draft(entry.item, "corrected", facts, corrects=entry), by=None, via="system")


def test_an_exchange_that_is_withdrawn_leaves_nothing_owed(counter, kept):
    for entry in Entry.objects.filter(kind="issued", facts__has_key="replaces"):
        builders_correct(entry)
    assert still_out() == []


def test_an_old_pair_replaced_twice_stands_once(counter, kept):
    exchange(asked(counter, new=good_pair()[0], old=kept), act=Act(counter.orla))
    assert still_out() == [numbers(kept)]


def test_the_list_is_told_as_of_a_day_as_well(counter, kept):
    custody.move(kept, to=counter.shelf, act=Act(counter.orla))
    assert not_returned(question(ago(1))) == []


@pytest.mark.parametrize("people", [2, 9])
def test_the_list_asks_as_many_queries_for_two_as_for_nine(counter, people, django_assert_num_queries):
    for number in range(people):
        person = builders.holder("person", f"Worker {number}")
        old = worn_pair(person)
        exchange(asked(counter, to=person, new=good_pair()[0], old=old), act=Act(counter.orla))
    with django_assert_num_queries(3):
        assert len(not_returned(question())) == people
