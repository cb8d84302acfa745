"""Every change from every condition, through the real acts: the right are recorded, the rest refused and kept."""

from datetime import date, timedelta

import pytest

from gear.actions import condition, custody, looks, sets
from gear.actions.acting import WORDS, Act, Refused
from gear.ledger import LedgerError
from gear.models import Entry, ItemState, Refusal, User
from gear.permissions import NotAllowed
from gear.queries import answer, question
from gear.rules import transitions
from gear.rules.entries import CONDITIONS
from tests import builders
from tests.rules.test_transitions import ALLOWED

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def people(module_rows):
    roles = {
        "orla": "clerk",
        "dev": "worker",
        "bertrand": "foreman",
        "ines": "supervisor",
        "iris": "supervisor",
        "halvard": "auditor",
        "pim": "administrator",
    }
    return {name: builders.person(role, name) for name, role in roles.items()}


BEGUN = {
    "ok": [],
    "held": [("held", {"reason": "odd smell"})],
    "needs_cleaning": [("needs_cleaning", {"reason": "tar"})],
    "out_for_test": [("sent_for_test", {})],
    "out_for_repair": [("sent_for_repair", {"reason": "patch"})],
    "rejected": [("rejected", {"reason": "torn"})],
    "lost": [("lost", {"reason": "not on the truck"})],
    "destroyed": [("destroyed", {"reason": "cut up", "witness": "ines"})],
}


def in_condition(name):
    """A tested glove in a pair (its mate is good), brought into a condition yesterday."""
    yesterday = builders.today() - timedelta(days=1)
    glove, mate = builders.pair(on=builders.RECEIVED_ON)
    builders.tested(glove, mate, on=yesterday - timedelta(days=10))
    for kind, facts in BEGUN[name]:
        builders.happened(glove, kind, on=yesterday, **facts)
    assert ItemState.objects.get(item=glove).condition == name
    return glove


@pytest.fixture(scope="module")
def gloves(module_rows):
    """A glove in each condition. Every test is undone, so each begins with them as they are here."""
    return {name: in_condition(name) for name in CONDITIONS}


# change: (who, the act). Each is given what its other guards ask for.
def hold_of(glove):
    held = Entry.objects.filter(item=glove, kind="held").first()
    return str(held.id) if held else ""


def alone(glove):
    """Out of its pair, so that it can be mated again."""
    state = ItemState.objects.get(item=glove)
    for member in list(ItemState.objects.filter(gear_set=state.gear_set)):
        builders.happened(member.item, "left_set", set_no=state.gear_set.set_no)
    return glove


ACTS = {
    "hold": ("dev", lambda one, act, _people: condition.hold(one, reason="x", act=act)),
    "reject": ("dev", lambda one, act, _people: condition.reject(one, reason="x", act=act)),
    "report_lost": ("dev", lambda one, act, _people: condition.report_lost(one, reason="x", act=act)),
    "mark_needs_cleaning": (
        "orla",
        lambda one, act, _people: condition.mark_needs_cleaning(one, reason="x", act=act),
    ),
    "send_for_test": ("orla", lambda one, act, _people: condition.send_for_test(one, reason="x", act=act)),
    "send_for_repair": (
        "orla",
        lambda one, act, _people: condition.send_for_repair(one, reason="x", act=act),
    ),
    "report_event": ("dev", lambda one, act, _people: condition.report_event(one, event="dropped", act=act)),
    "move": ("dev", lambda one, act, _people: custody.move([one], to=builders.holder("bench"), act=act)),
    "issue": (
        "orla",
        lambda one, act, _people: custody.issue([one], to=builders.holder("person", "Dev"), act=act),
    ),
    "destroy": (
        "orla",
        lambda one, act, people: condition.destroy(one, witness=people["dev"], reason="x", act=act),
    ),
    "mark_cleaned": ("orla", lambda one, act, _people: looks.mark_cleaned(one, act=act)),
    "look": ("orla", lambda one, act, _people: looks.look(one, outcome="test", act=act)),
    "accept_by_eye": (
        "orla",
        lambda one, act, _people: looks.look(one, outcome="accept", cleaned=True, act=act),
    ),
    "record_repair": ("orla", lambda one, act, _people: looks.record_repair(one, done="patched", act=act)),
    "release": (
        "ines",
        lambda one, act, _people: condition.release(one, hold_id=hold_of(one), reason="x", act=act),
    ),
    "report_found": ("dev", lambda one, act, _people: condition.report_found(one, act=act)),
    "mate": ("orla", lambda one, act, _people: sets.mate(alone(one), builders.glove(hand="R"), act=act)),
    "split": ("orla", lambda one, act, _people: sets.split(one, act=act)),
    "note": ("dev", lambda one, act, _people: condition.note(one, text="seen", act=act)),
    "inspect": (
        "dev",
        lambda one, act, _people: looks.inspect_before_use(one, outcome="accept", act=act),
    ),
}
# Tested with the label, with tests, with sightings, with recalls, with what is kept as evidence and with visitors.
ELSEWHERE = {
    "relabel",
    "log_test",
    "acknowledge",
    "hold_batch",
    "release_batch",
    "keep_evidence",
    "free_evidence",
    "hand_back",
}


def test_the_table_covers_every_change():
    assert set(ACTS) | ELSEWHERE == set(transitions.FROM)
    assert set(BEGUN) == set(CONDITIONS)


@pytest.mark.parametrize("begun", CONDITIONS)
@pytest.mark.parametrize("change", ACTS)
def test_every_change_from_every_condition(people, gloves, change, begun):
    glove = gloves[begun]
    who, act = ACTS[change]
    entries = Entry.objects.filter(item=glove).count()
    if begun in ALLOWED[change].split():
        act(glove, Act(people[who]), people)
        assert Entry.objects.filter(item=glove, by=people[who]).exists()
        assert Refusal.objects.count() == 0
        return
    with pytest.raises(Refused) as refusal:
        act(glove, Act(people[who]), people)
    assert str(refusal.value).endswith(str(WORDS[refusal.value.code]))
    kept = Refusal.objects.get()
    assert (kept.by, kept.code, kept.via) == (people[who], refusal.value.code, "web")
    assert glove.item_no in kept.subject
    assert not Entry.objects.filter(item=glove, by=people[who]).exists()
    left_pair = change == "mate"
    assert Entry.objects.filter(item=glove).count() == entries + left_pair


# No act makes a stopped item good but the few that may
GOOD_AGAIN = {
    ("release", "held"),
    ("mark_cleaned", "needs_cleaning"),
    ("accept_by_eye", "needs_cleaning"),
}


@pytest.mark.parametrize("begun", sorted(set(CONDITIONS) - {"ok"}))
@pytest.mark.parametrize("change", sorted(set(ACTS) - {"mate", "split"}))
def test_no_act_but_release_and_cleaning_makes_a_stopped_item_good(people, gloves, change, begun):
    glove = gloves[begun]
    who, act = ACTS[change]
    try:
        act(glove, Act(people[who]), people)
    except Refused:
        assert answer(glove.item_no, question()).verdict == "stop"
        return
    expected = "good" if (change, begun) in GOOD_AGAIN else "stop"
    assert answer(glove.item_no, question()).verdict == expected


# Who
MAY = {
    "orla": set(ACTS) - {"release"},
    "dev": {"hold", "reject", "report_lost", "report_found", "report_event", "inspect", "note", "move"},
    "bertrand": {"hold", "reject", "report_lost", "report_found", "report_event", "inspect", "note", "move"},
    "ines": {"hold", "reject", "report_lost", "report_found", "report_event", "inspect", "note", "release"},
    "halvard": set(),
    "pim": set(),
}


@pytest.mark.parametrize("name", MAY)
@pytest.mark.parametrize("change", ACTS)
def test_every_act_by_every_role(people, gloves, change, name):
    glove = gloves[ALLOWED[change].split()[0]]
    if change in MAY[name]:
        ACTS[change][1](
            glove, Act(people[name]), people | ({"dev": people["bertrand"]} if name == "dev" else {})
        )
        return
    with pytest.raises(NotAllowed, match="Your role may not do this"):
        ACTS[change][1](glove, Act(people[name]), people)
    assert Refusal.objects.get().code == "NotAllowed"


def test_somebody_who_left_may_do_nothing(people):
    dev = User.objects.get(username="dev")
    dev.is_active = False
    dev.save()
    with pytest.raises(NotAllowed):
        condition.hold(in_condition("ok"), reason="x", act=Act(dev))


# Two people
def test_nobody_releases_their_own_hold(people):
    glove = in_condition("ok")
    hold = condition.hold(glove, reason="x", act=Act(people["ines"], occurred_on=yesterday()))
    with pytest.raises(Refused) as refusal:
        condition.release(glove, hold_id=str(hold.id), reason="fine", act=Act(people["ines"]))
    assert refusal.value.code == "OWN_HOLD"
    assert Refusal.objects.get().code == "OWN_HOLD"
    condition.release(glove, hold_id=str(hold.id), reason="fine", act=Act(people["iris"]))
    assert answer(glove.item_no, question()).verdict == "good"


def yesterday():
    return builders.today() - timedelta(days=1)


def test_every_hold_is_released_for_itself_and_none_twice(people):
    glove = in_condition("ok")
    holds = [
        condition.hold(glove, reason=why, act=Act(people["dev"], occurred_on=yesterday())) for why in "ab"
    ]
    condition.release(glove, hold_id=str(holds[0].id), reason="fine", act=Act(people["ines"]))
    assert answer(glove.item_no, question()).verdict == "stop"
    for hold_id in (str(holds[0].id), "", "not an id", str(glove.entry_set.get(kind="received").id)):
        with pytest.raises(Refused) as refusal:
            condition.release(glove, hold_id=hold_id, reason="fine", act=Act(people["ines"]))
        assert refusal.value.code == "NO_SUCH_HOLD"


def test_a_hold_of_another_item_is_not_released_here(people):
    one, other = in_condition("held"), in_condition("held")
    with pytest.raises(Refused) as refusal:
        condition.release(one, hold_id=hold_of(other), reason="fine", act=Act(people["ines"]))
    assert refusal.value.code == "NO_SUCH_HOLD"


@pytest.mark.parametrize(
    ("witness", "code"), [(None, "NO_WITNESS"), ("orla", "OWN_WITNESS"), ("left", "NO_WITNESS")]
)
def test_destruction_needs_a_witness_who_is_somebody_else(people, witness, code):
    people["left"] = builders.person("worker", "zoe", is_active=False)
    glove = in_condition("rejected")
    with pytest.raises(Refused) as refusal:
        condition.destroy(glove, witness=people.get(witness), reason="cut up", act=Act(people["orla"]))
    assert refusal.value.code == code
    with pytest.raises(Refused) as refusal:
        condition.destroy(glove, witness=people["dev"], reason="cut up", act=Act(None))
    assert refusal.value.code == "OWN_WITNESS"


def test_the_witness_stands_in_the_record(people):
    glove = in_condition("rejected")
    entry = condition.destroy(glove, witness=people["dev"], reason="cut up", act=Act(people["orla"]))
    assert (entry.by.username, entry.facts["witness"]) == ("orla", "dev")


# Words
@pytest.mark.parametrize("reason", ["", "  \n ", None])
@pytest.mark.parametrize("act", [condition.hold, condition.reject, condition.report_lost])
def test_a_reason_is_asked_for(people, act, reason):
    with pytest.raises(Refused) as refusal:
        act(in_condition("ok"), reason=reason, act=Act(people["dev"]))
    assert refusal.value.code == "NO_REASON"


def test_repair_only_where_the_pack_allows_it(people):
    hood = builders.item("hood", cls="2")
    with pytest.raises(Refused) as refusal:
        condition.send_for_repair(hood, reason="crack", act=Act(people["orla"]))
    assert refusal.value.code == "REPAIR_NOT_ALLOWED"


def test_a_found_item_is_held_and_needs_a_test_before_anything_else(people):
    glove = in_condition("lost")
    condition.report_found(glove, act=Act(people["dev"]))
    codes = [reason.code for reason in answer(glove.item_no, question()).reasons]
    assert codes == ["HELD", "NEEDS_TEST"]


# Refusals are kept whatever refuses
def test_a_refusal_by_the_ledger_is_kept_too(people):
    glove = in_condition("ok")
    with pytest.raises(LedgerError, match="future"):
        condition.hold(
            glove, reason="x", act=Act(people["dev"], occurred_on=builders.today() + timedelta(days=3))
        )
    assert Refusal.objects.get().code == "BadMoment"
    with pytest.raises(LedgerError, match="before 1900"):
        condition.hold(glove, reason="x", act=Act(people["dev"], occurred_on=date(1899, 12, 31)))


def test_a_record_that_cannot_be_read_refuses_the_act_with_a_sentence(people):
    glove = in_condition("ok")
    ItemState.objects.filter(item=glove).update(facts={"holds": 5})
    with pytest.raises(LedgerError, match="cannot be read"):
        condition.hold(glove, reason="x", act=Act(people["dev"]))
    ItemState.objects.filter(item=glove).delete()
    with pytest.raises(LedgerError, match="cannot be read"):
        condition.hold(glove, reason="x", act=Act(people["dev"]))
    assert Refusal.objects.count() == 2
