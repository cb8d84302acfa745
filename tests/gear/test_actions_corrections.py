"""A wrong entry is corrected by a new one; whatever makes the answer better needs another person."""

from datetime import UTC, date, datetime, timedelta

import pytest

from gear.actions import condition
from gear.actions.acting import Act, Refused
from gear.actions.corrections import correct, preview, replacement
from gear.ledger import BadMoment, Draft, record, verify
from gear.models import Entry, Item, Refusal
from gear.permissions import NotAllowed
from gear.queries import answer, question
from gear.rules.entries import BadFacts
from tests import builders

pytestmark = pytest.mark.django_db
FEB, MAR = date(2026, 2, 1), date(2026, 3, 1)


@pytest.fixture
def people(db):
    roles = {"orla": "clerk", "olive": "clerk", "ines": "supervisor", "iris": "supervisor", "dev": "worker"}
    return {name: builders.person(role, name) for name, role in roles.items()}


@pytest.fixture
def blanket(people):
    return builders.blanket("B-1", by=people["orla"])


def verdict():
    return answer("B-1", question()).verdict


def by(person):
    return Act(person)


def failed(blanket, person):
    return builders.tested(blanket, outcome="failed", codes=[{"code": "BREAKDOWN"}], by=person)[0]


def accepted(entry):
    return replacement(entry, facts={**entry.facts, "outcome": "accepted", "codes": []})


def test_a_correction_stands_beside_the_original_with_who_when_and_why(blanket, people):
    wrong = failed(blanket, people["orla"])
    correct(wrong, new=accepted(wrong), reason="  read the  wrong line ", act=by(people["ines"]))
    entry = Entry.objects.get(kind="corrected")
    assert (entry.corrects, entry.by, entry.facts["reason"]) == (wrong, people["ines"], "read the wrong line")
    assert Entry.objects.get(pk=wrong.pk).facts["outcome"] == "failed"
    assert verify.verify() == []
    assert verdict() == "good"


def test_it_shows_the_answer_before_and_after_and_stores_nothing_to_show_it(blanket, people):
    wrong = failed(blanket, people["orla"])
    count = Entry.objects.count()
    shown = preview(wrong, accepted(wrong))
    assert (shown.before.verdict, shown.after.verdict, shown.improves) == ("stop", "good", True)
    assert Entry.objects.count() == count
    done = correct(wrong, new=accepted(wrong), reason="typed wrong", act=by(people["ines"]))
    assert (done.before.verdict, done.after.verdict) == ("stop", "good")


# What makes the answer better needs a second person; what makes it worse never does
@pytest.mark.parametrize("new", [None, accepted], ids=["withdrawn", "replaced"])
def test_nobody_turns_their_own_failed_test_into_a_pass(blanket, people, new):
    wrong = failed(blanket, people["orla"])
    with pytest.raises(Refused, match="another person") as refusal:
        correct(wrong, new=new and new(wrong), reason="typed wrong", act=by(people["orla"]))
    assert refusal.value.code == "SECOND_PERSON"
    assert Refusal.objects.get().code == "SECOND_PERSON"
    assert verdict() == "stop"
    correct(wrong, new=new and new(wrong), reason="typed wrong", act=by(people["olive"]))
    assert verdict() == ("good" if new else "stop")  # nothing but the failed test was on file


def test_a_wrong_pass_is_withdrawn_at_once_by_whoever_entered_it(blanket, people):
    wrong = builders.tested(blanket, by=people["orla"])[0]
    assert verdict() == "good"
    correct(wrong, new=None, reason="another blanket", act=by(people["orla"]))
    assert verdict() == "stop"


def test_whoever_corrected_an_entry_cannot_turn_it_back_nor_can_its_author(blanket, people):
    """Two people have spoken about this test; a third decides between them."""
    right = builders.tested(blanket, by=people["orla"])[0]
    worse = replacement(right, facts={**right.facts, "outcome": "failed"})
    correct(right, new=worse, reason="saw a flash", act=by(people["ines"]))
    back = replacement(right, facts=right.facts)
    for person in ("ines", "orla"):
        with pytest.raises(Refused) as refusal:
            correct(right, new=back, reason="no flash", act=by(people[person]))
        assert refusal.value.code == "SECOND_PERSON"
    correct(right, new=back, reason="no flash, seen on the film", act=by(people["iris"]))
    assert verdict() == "good"


def test_of_two_failed_tests_that_hide_one_another_neither_goes_by_its_own_author(blanket, people):
    first, second = failed(blanket, people["orla"]), failed(blanket, people["olive"])
    with pytest.raises(Refused):
        correct(first, new=None, reason="x", act=by(people["orla"]))
    correct(second, new=None, reason="x", act=by(people["orla"]))
    with pytest.raises(Refused):
        correct(first, new=None, reason="x", act=by(people["orla"]))


def test_of_two_holds_that_look_alike_neither_goes_by_its_own_author(blanket, people):
    builders.tested(blanket)
    first = builders.happened(blanket, "held", reason="a", by=people["ines"])
    builders.happened(blanket, "held", reason="a", by=people["iris"])
    with pytest.raises(Refused):
        correct(first, new=None, reason="x", act=by(people["ines"]))
    correct(first, new=None, reason="x", act=by(people["iris"]))
    assert verdict() == "stop"


def test_a_release_cannot_be_turned_upon_ones_own_hold(blanket, people):
    builders.tested(blanket, on=FEB)
    theirs = builders.happened(blanket, "held", reason="a", by=people["orla"], on=FEB)
    own = builders.happened(blanket, "held", reason="b", by=people["ines"], on=FEB)
    release = condition.release(blanket, hold_id=str(theirs.id), reason="fine", act=by(people["ines"]))
    new = replacement(release, facts={**release.facts, "hold": str(own.id)})
    with pytest.raises(Refused) as refusal:
        correct(release, new=new, reason="typed wrong", act=by(people["ines"]))
    assert refusal.value.code == "SECOND_PERSON"


def test_a_later_date_of_an_accepted_test_needs_a_second_person_and_an_earlier_one_does_not(blanket, people):
    test = builders.tested(blanket, on=MAR, by=people["orla"])[0]
    later, earlier = (replacement(test, occurred_on=MAR + timedelta(days=days)) for days in (30, -30))
    with pytest.raises(Refused):
        correct(test, new=later, reason="x", act=by(people["orla"]))
    assert correct(test, new=earlier, reason="x", act=by(people["orla"])).after.good_through == date(
        2027, 1, 29
    )


def test_the_expiry_marked_on_an_item_moves_on_only_by_a_second_person_even_where_another_clock_wins(people):
    builders.blanket("B-1", marked_expiry_on=date(2029, 1, 1), by=people["orla"])
    received = Entry.objects.get(kind="received")
    for expiry in ("2031-01-01", None):
        identity = {**received.facts["identity"], "marked_expiry_on": expiry}
        new = replacement(received, facts={**received.facts, "identity": identity})
        assert preview(received, new).improves
    identity = {**received.facts["identity"], "marked_expiry_on": "2028-01-01"}
    assert not preview(
        received, replacement(received, facts={**received.facts, "identity": identity})
    ).improves


def test_the_only_clock_of_an_item_is_not_corrected_away_alone(people):
    """A hose for which no interval runs is good for ever without its marked expiry: that is later than any date."""
    item = builders.item("protector", "B-1", marked_expiry_on=date(2027, 1, 1), by=people["orla"])
    received = Entry.objects.get(item=item)
    identity = {**received.facts["identity"], "marked_expiry_on": None}
    shown = preview(received, replacement(received, facts={**received.facts, "identity": identity}))
    assert (shown.before.good_through, shown.after.good_through) == (date(2027, 1, 1), None)
    assert shown.improves


@pytest.mark.parametrize(("person", "may"), [("orla", False), ("ines", True)])
def test_of_an_imported_entry_only_a_supervisor_is_the_second_person(blanket, people, person, may):
    wrong = failed(blanket, None)
    if may:
        correct(wrong, new=None, reason="x", act=by(people[person]))
        return
    with pytest.raises(Refused):
        correct(wrong, new=None, reason="x", act=by(people[person]))


def test_a_command_that_acts_for_nobody_is_not_asked_for_a_second_person(blanket, people):
    correct(failed(blanket, people["orla"]), new=None, reason="x", act=Act(None, via="system"))


def test_a_worker_corrects_nothing(blanket, people):
    test = builders.tested(blanket, by=people["orla"])[0]
    with pytest.raises(NotAllowed):
        correct(test, new=None, reason="x", act=by(people["dev"]))
    assert Refusal.objects.get().act == "correct"


# What cannot be corrected
def test_after_destruction_nothing_is_corrected(blanket, people):
    wrong = failed(blanket, people["orla"])
    condition.destroy(blanket, witness=people["ines"], reason="cut up", act=by(people["orla"]))
    for entry in (wrong, Entry.objects.get(kind="destroyed")):
        with pytest.raises(Refused) as refusal:
            correct(entry, new=None, reason="x", act=by(people["olive"]))
        assert refusal.value.code == "DESTROYED_IS_FINAL"


def test_labels_memberships_corrections_and_entries_of_sets_or_the_site_are_not_corrected_here(people):
    left, right = builders.pair()
    builders.happened(left, "labelled", code="ABCDEFGHJKM")
    builders.happened(left, "left_set", set_no=Entry.objects.get(kind="set_formed").facts["set_no"])
    note = builders.happened(right, "noted", note="x", by=people["orla"])
    correct(note, new=None, reason="x", act=by(people["orla"]))
    for kind in ("labelled", "joined_set", "left_set", "set_formed", "corrected"):
        with pytest.raises(Refused) as refusal:
            correct(Entry.objects.filter(kind=kind).first(), new=None, reason="x", act=by(people["ines"]))
        assert refusal.value.code == "NOT_CORRECTABLE"


def test_an_entry_cannot_become_one_of_another_kind(blanket, people):
    hold = builders.happened(blanket, "held", reason="x", by=people["orla"])
    new = {**replacement(hold), "kind": "noted", "facts": {"v": 1, "note": "x"}}
    with pytest.raises(Refused) as refusal:
        correct(hold, new=new, reason="x", act=by(people["ines"]))
    assert refusal.value.code == "NOT_CORRECTABLE"


def test_a_correction_that_changes_nothing_is_refused_by_what_stands_now(blanket, people):
    test = builders.tested(blanket, on=MAR, by=people["orla"])[0]
    original, moved = replacement(test), replacement(test, occurred_on=FEB)
    with pytest.raises(Refused) as refusal:
        correct(test, new=original, reason="x", act=by(people["ines"]))
    assert refusal.value.code == "NOTHING_CHANGES"
    correct(test, new=moved, reason="x", act=by(people["ines"]))
    with pytest.raises(Refused):
        correct(test, new=moved, reason="x", act=by(people["iris"]))
    correct(test, new=original, reason="the first was right", act=by(people["iris"]))
    correct(test, new=None, reason="another blanket", act=by(people["ines"]))
    with pytest.raises(Refused):
        correct(test, new=None, reason="again", act=by(people["iris"]))


@pytest.mark.parametrize("reason", ["", "   ", None])
def test_no_correction_without_a_reason(blanket, people, reason):
    test = builders.tested(blanket, by=people["orla"])[0]
    with pytest.raises(Refused) as refusal:
        correct(test, new=None, reason=reason, act=by(people["ines"]))
    assert refusal.value.code == "NO_REASON"


@pytest.mark.parametrize(
    "new", [{"kind": "tested"}, {"kind": "tested", "facts": {}, "occurred_at": 5, "occurred_on": 5}]
)
def test_a_replacement_that_is_no_entry_is_refused_and_the_refusal_kept(blanket, people, new):
    test = builders.tested(blanket, by=people["orla"])[0]
    with pytest.raises(BadFacts):
        correct(test, new=new, reason="x", act=by(people["ines"]))
    assert Refusal.objects.get().code == "BadFacts"


# What the entry should have said
def test_another_day_of_a_dated_entry_sorts_as_its_kind_does(blanket, people):
    test = builders.tested(blanket, on=MAR, by=people["orla"])[0]
    assert replacement(test)["occurred_at"] == "2026-03-01T05:00:00+00:00"
    worse = replacement(test, facts={**test.facts, "outcome": "failed"}, occurred_on=FEB)
    assert (worse["occurred_at"], worse["occurred_on"]) == ("2026-02-02T04:59:59+00:00", "2026-02-01")


def test_the_moment_of_an_entry_stays_when_only_its_facts_change(blanket, people):
    moment = datetime(2026, 3, 1, 15, 30, tzinfo=UTC)
    hold = record(Draft(blanket, "held", {"reason": "a"}, occurred_at=moment), by=people["orla"], via="web")
    kept = replacement(hold, facts={"reason": "b"})
    assert (kept["occurred_at"], kept["precision"], kept["facts"]) == (
        moment.isoformat(),
        "moment",
        {"v": 1, "reason": "b"},
    )
    assert replacement(hold, occurred_on=FEB)["precision"] == "day"
    assert replacement(hold, occurred_on=MAR)["precision"] == "moment"


def test_what_cannot_have_been_is_refused(blanket, people):
    test = builders.tested(blanket, by=people["orla"])[0]
    with pytest.raises(BadFacts, match="outcome is one of"):
        replacement(test, facts={**test.facts, "outcome": "passed"})
    with pytest.raises(BadMoment, match="future"):
        replacement(test, occurred_on=builders.today() + timedelta(days=2))


# Identity
def test_a_corrected_identity_is_what_the_item_is_found_by_and_the_test_of_the_other_does_not_count(people):
    blanket = builders.blanket("B-1", cls="2", serial="X-1", by=people["orla"])
    builders.tested(blanket)
    received = Entry.objects.get(kind="received")
    identity = {**received.facts["identity"], "class": "3", "serial": "X-7", "made_on": "2023-05-01"}
    new = replacement(received, facts={**received.facts, "identity": identity})
    correct(received, new=new, reason="read the label again", act=by(people["orla"]))
    item = Item.objects.select_related("item_type").get()
    assert (item.item_type.cls, item.serial, item.made_on) == ("3", "X-7", date(2023, 5, 1))
    assert [reason.code for reason in answer("B-1", question()).reasons] == ["JUDGED_AS_OTHER"]
    assert verify.verify() == []


# Two times
def test_a_correction_changes_what_was_true_then_and_never_what_was_told_then(blanket, people):
    wrong = builders.tested(blanket, on=MAR, by=people["orla"])[0]
    then, told = question(date(2026, 4, 1)), wrong.recorded_at
    assert answer("B-1", then).verdict == "good"
    correct(wrong, new=None, reason="another blanket", act=by(people["ines"]))
    assert answer("B-1", question(date(2026, 4, 1))).verdict == "stop"
    assert answer("B-1", question(date(2026, 4, 1), known_at=told)).verdict == "good"


def test_a_correction_in_a_pair_shows_the_answer_of_the_pair(people):
    left, right = builders.pair()
    builders.tested(left, right)
    hold = builders.happened(left, "held", reason="x", by=people["orla"])
    builders.happened(right, "held", reason="x", by=people["orla"])
    shown = preview(hold, None)
    assert [reason.code for reason in shown.before.reasons] == ["HELD", "SET_NOT_COMPLETE"]
    assert [reason.code for reason in shown.after.reasons] == ["SET_NOT_COMPLETE"]
