"""Looks at the tool room: who may accept by eye, the cleaning loop, and repairs that never go straight to the shelf."""

from datetime import timedelta

import pytest

from gear.actions import looks, qualifications
from gear.actions.acting import Act, Refused
from gear.actions.corrections import correct, replacement
from gear.models import Entry, Qualification, Refusal
from gear.permissions import NotAllowed
from gear.queries import answer, question
from tests import builders
from tests.gear.act_forms import condition, kinds

pytestmark = pytest.mark.django_db


@pytest.fixture
def blanket(cast):
    one = builders.blanket("B-1")
    builders.tested(one, on=builders.today() - timedelta(days=20))
    return one


def qualified(person, cast, *, first=-100, last=100):
    """A qualification from so many days from today through so many."""
    today = builders.today()
    return qualifications.qualify(
        person,
        from_on=today + timedelta(days=first),
        until_on=today + timedelta(days=last),
        reason="two-day course",
        act=Act(cast.ines),
    )


def verdict(item):
    return answer(item.item_no, question()).verdict


# Who may accept


@pytest.mark.parametrize(
    ("first", "last", "may"),
    [
        (-10, 0, True),
        (0, 10, True),
        (-10, -1, False),
        (1, 10, False),
    ],  # both days count; before and after do not
)
def test_the_first_and_the_last_day_of_a_qualification_count(cast, blanket, first, last, may):
    qualified(cast.orla, cast, first=first, last=last)
    if may:
        entry = looks.look(blanket, outcome="accept", act=Act(cast.orla))
        assert entry.facts["qualification"] == "current"
        return
    with pytest.raises(Refused, match="not valid on this day"):
        looks.look(blanket, outcome="accept", act=Act(cast.orla))
    assert Refusal.objects.get().code == "QUALIFICATION_EXPIRED"


@pytest.mark.parametrize("outcome", ["clean", "test", "reject"])
def test_whose_qualification_ran_out_may_still_clean_test_and_reject(cast, blanket, outcome):
    qualified(cast.orla, cast, last=-1)
    looks.look(blanket, outcome=outcome, act=Act(cast.orla))
    assert verdict(blanket) == "stop"


def test_whose_qualification_ran_out_cannot_clear_what_needs_cleaning(cast, blanket):
    builders.happened(blanket, "needs_cleaning", reason="mud")
    qualified(cast.orla, cast, last=-1)
    with pytest.raises(Refused, match="not valid on this day"):
        looks.mark_cleaned(blanket, act=Act(cast.orla))
    assert condition(blanket) == "needs_cleaning"


def test_who_is_not_on_file_may_accept_and_the_entry_says_so(cast, blanket):
    entry = looks.look(blanket, outcome="accept", act=Act(cast.orla))
    assert entry.facts["qualification"] == "not_on_file"
    assert entry.facts["scope"] == "tool_room"


def test_nobody_accepts_for_a_day_on_which_they_still_could(cast, blanket):
    qualified(cast.orla, cast, last=-1)
    then = builders.today() - timedelta(days=5)
    with pytest.raises(Refused, match="not valid on this day"):
        looks.look(blanket, outcome="accept", act=Act(cast.orla, occurred_on=then))


@pytest.mark.parametrize("name", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_the_clerk_looks_for_the_tool_room(cast, blanket, name):
    with pytest.raises(NotAllowed):
        looks.look(blanket, outcome="reject", act=Act(getattr(cast, name)))


# What is said and where


def test_words_and_place_stand_in_the_entry(cast, blanket):
    entry = looks.look(blanket, outcome="reject", words=["cut"], place="face_a:square_6", act=Act(cast.orla))
    assert (entry.facts["words"], entry.facts["place"]) == (["cut"], "face_a:square_6")
    assert condition(blanket) == "rejected"


@pytest.mark.parametrize("place", ["palm", "square_6,square_5", "outside:square_1"])
def test_a_place_that_the_kind_does_not_have_is_refused_and_kept(cast, blanket, place):
    with pytest.raises(Refused, match="no such place"):
        looks.look(blanket, outcome="reject", place=place, act=Act(cast.orla))
    with pytest.raises(Refused, match="no such place"):
        looks.inspect_before_use(blanket, outcome="reject", place=place, act=Act(cast.dev))
    assert Refusal.objects.filter(code="PLACE_NOT_OF_KIND").count() == 2


def test_the_worker_says_where_as_well(cast, blanket):
    entry = looks.inspect_before_use(
        blanket, outcome="reject", words=["tear"], place="square_2", act=Act(cast.dev)
    )
    assert (entry.facts["place"], entry.facts["scope"]) == ("square_2", "pre_use")


def test_there_is_no_fifth_outcome(cast, blanket):
    with pytest.raises(Refused, match="accept, clean, test or reject"):
        looks.look(blanket, outcome="monitor", act=Act(cast.orla))


def test_what_was_rejected_or_lost_is_not_accepted_by_eye(cast):
    for kind, facts in (("rejected", {"reason": "torn"}), ("lost", {"reason": "not seen"})):
        piece = builders.blanket()
        builders.happened(piece, kind, **facts)
        with pytest.raises(Refused):
            looks.look(piece, outcome="accept", cleaned=True, act=Act(cast.orla))


# Cleaning


def test_a_dirty_rigid_cover_is_stop_until_it_was_cleaned_and_accepted(cast):
    cover = builders.item("rigid_cover", "C-1", cls="2")
    builders.tested(cover, on=builders.today() - timedelta(days=3))
    assert verdict(cover) == "good"
    looks.inspect_before_use(cover, outcome="clean", words=["mud"], act=Act(cast.dev))
    assert verdict(cover) == "stop"
    with pytest.raises(Refused, match="Clean it"):
        looks.look(cover, outcome="accept", act=Act(cast.orla))
    entry = looks.look(cover, outcome="accept", cleaned=True, act=Act(cast.orla))
    assert entry.facts["cleaned"] is True
    assert verdict(cover) == "good"


def test_a_worker_who_accepts_before_use_does_not_end_the_need_for_cleaning(cast, blanket):
    builders.happened(blanket, "needs_cleaning", reason="mud")
    looks.inspect_before_use(blanket, outcome="accept", act=Act(cast.dev))
    assert verdict(blanket) == "stop"


# Repair


@pytest.fixture
def repaired(cast, blanket):
    """A blanket that Orla sent for repair and repaired."""
    yesterday = builders.today() - timedelta(days=1)
    builders.happened(blanket, "sent_for_repair", reason="torn corner", by=cast.orla, on=yesterday)
    act = Act(cast.orla, occurred_on=yesterday)
    looks.record_repair(blanket, done="cut down to the sound part", length_mm=700, act=act)
    return blanket


def test_a_repair_says_what_was_done_and_what_length_is_left(repaired):
    facts = repaired.entry_set.get(kind="event").facts
    assert facts["event"] == "repaired"
    assert facts["note"] == "cut down to the sound part"
    assert facts["length_mm"] == 700


def test_a_repaired_piece_never_goes_straight_to_the_shelf_as_good(cast, repaired):
    assert verdict(repaired) == "stop"
    other = builders.person("clerk", "runa")
    looks.look(repaired, outcome="accept", act=Act(other))
    assert verdict(repaired) == "stop"  # no look brings it back
    builders.tested(repaired, purpose="in_service")
    assert verdict(repaired) == "stop"  # nor a test for another purpose
    builders.tested(repaired, purpose="after_repair")
    assert verdict(repaired) == "good"


def test_nobody_accepts_by_eye_what_they_repaired(cast, repaired):
    with pytest.raises(Refused, match="Another person must"):
        looks.look(repaired, outcome="accept", act=Act(cast.orla))
    builders.happened(repaired, "needs_cleaning", reason="glue")
    with pytest.raises(Refused, match="Another person must"):
        looks.mark_cleaned(repaired, act=Act(cast.orla))
    looks.look(repaired, outcome="test", act=Act(cast.orla))  # but may doubt it


def test_once_another_tested_it_the_repair_bars_nobody(cast, repaired):
    builders.tested(repaired, purpose="after_repair", by=builders.person("clerk", "runa"))
    looks.look(repaired, outcome="accept", act=Act(cast.orla))
    assert kinds(repaired)[-1] == "inspected"


def test_a_repair_is_recorded_only_of_what_was_sent_for_repair(cast, blanket):
    with pytest.raises(Refused, match="not out for repair"):
        looks.record_repair(blanket, done="patched", act=Act(cast.orla))


@pytest.mark.parametrize("kind", ["hood", "rigid_cover", "protector"])
def test_where_the_pack_lists_no_repair_none_is_recorded(cast, kind):
    """29 CFR 1910.137(c)(2)(x) lists repairs of rubber goods; none for hoods, plastic guards and protectors."""
    piece = builders.item(kind, cls="2")
    builders.happened(piece, "sent_for_repair", reason="cracked")  # as an imported book may say
    with pytest.raises(Refused, match="does not allow"):
        looks.record_repair(piece, done="glued", act=Act(cast.orla))


def test_a_repair_needs_to_say_what_was_done(cast, blanket):
    builders.happened(blanket, "sent_for_repair", reason="torn corner")
    with pytest.raises(Refused, match="reason"):
        looks.record_repair(blanket, done="  ", act=Act(cast.orla))
    assert not Entry.objects.filter(kind="event").exists()


# Qualifications


def test_a_qualification_is_an_entry_of_the_site_and_a_row_beside_it(cast):
    row = qualified(cast.orla, cast)
    assert row.entry.kind == "person_changed"
    assert row.entry.facts["person"] == "orla"
    assert row.entry.facts["change"] == "qualified"
    assert row.entry.facts["note"].endswith("two-day course")
    assert (row.entry.item, row.entry.gear_set, row.entry.by) == (None, None, cast.ines)


def test_a_look_is_corrected_into_an_accepted_one_only_by_whoever_may_accept(cast, blanket):
    entry = looks.look(blanket, outcome="clean", act=Act(cast.orla))
    accepted = replacement(entry, facts={**entry.facts, "outcome": "accept"})
    runa = builders.person("clerk", "runa")
    qualified(runa, cast, last=-1)
    with pytest.raises(Refused, match="not valid on this day"):
        correct(entry, new=accepted, reason="the dirt was a shadow", act=Act(runa))
    qualified(runa, cast)
    correct(entry, new=accepted, reason="the dirt was a shadow", act=Act(runa))
    assert verdict(blanket) == "good"


def test_the_newest_qualification_counts(cast, blanket):
    qualified(cast.orla, cast, last=-1)
    qualified(cast.orla, cast)
    assert looks.look(blanket, outcome="accept", act=Act(cast.orla)).facts["qualification"] == "current"
    qualified(cast.orla, cast, last=-1)  # taken back
    with pytest.raises(Refused):
        looks.look(blanket, outcome="accept", act=Act(cast.orla))


@pytest.mark.parametrize("name", ["dev", "bertrand", "orla", "halvard"])
def test_who_may_not_qualify_is_refused(cast, name):
    with pytest.raises(NotAllowed):
        qualifications.qualify(
            cast.marisol,
            from_on=builders.today(),
            until_on=builders.today(),
            reason="course",
            act=Act(getattr(cast, name)),
        )
    assert not Qualification.objects.exists()


@pytest.mark.parametrize(
    ("person", "first", "last", "code"),
    [
        ("ines", 0, 1, "OWN_QUALIFICATION"),
        ("orla", 1, 0, "ENDS_BEFORE_IT_BEGINS"),
        ("orla", 0, 5 * 366 + 1, "TOO_LONG"),
    ],
)
def test_a_qualification_that_cannot_be(cast, person, first, last, code):
    with pytest.raises(Refused) as refusal:
        qualified(getattr(cast, person), cast, first=first, last=last)
    assert refusal.value.code == code
    assert Refusal.objects.get().code == code
    assert not Qualification.objects.exists()
