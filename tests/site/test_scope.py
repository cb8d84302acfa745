"""Bound to a depot: a person's writes end at its fence, except for what takes dangerous gear out of use."""

from types import SimpleNamespace

import pytest
from django.test import Client
from django.urls import reverse

from gear.actions import batches, condition, corrections, custody, looks, people, relabelling, sets
from gear.actions.acting import Act
from gear.ledger import append
from gear.models import BatchHold, Crew, Depot, Entry, HoldBatch, Holder, Refusal
from gear.permissions import BOUND_TO_DEPOT, NotAllowed, check_scope
from gear.site import gate
from inspections.actions import testing
from inspections.rules.acceptance import Reading
from tests import builders
from tests.inspections.bench_day import day
from tests.site.test_matrix import ROUTES, address_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def depots(cast):
    """Orla and Ines are bound to the Harbour depot; the gear in question lies at Upper Clay."""
    for name in ("orla", "ines", "dev"):
        person = getattr(cast, name)
        person.depot = cast.depot
        person.save()
    clay = Depot.objects.create(name="Upper Clay")
    crew = Crew.objects.create(name="Crew 21", depot=clay, phone="555-0121")
    shelf = Holder.objects.create(kind="shelf", name="Clay shelf", depot=clay)
    truck = Holder.objects.create(kind="truck", name="T-21", crew=crew, depot=clay)
    return SimpleNamespace(clay=clay, crew=crew, shelf=shelf, truck=truck)


def gear_at(shelf, act):
    """A piece, or a pair, in the state in which the act may be done to it."""
    if act in ("mate", "split"):
        left, right = builders.glove(at=shelf, hand="L"), builders.glove(at=shelf, hand="R")
        if act == "split":
            builders.gather(left, right)
        return left, right
    blanket = builders.blanket(at=shelf)
    builders.tested(blanket)
    earlier = {
        "destroy": ("rejected", {"reason": "cut"}),
        "mark_cleaned": ("needs_cleaning", {"reason": "oil"}),
        "record_repair": ("sent_for_repair", {"reason": "scratched"}),
        "report_found": ("lost", {"reason": "not on the truck"}),
        "release": ("held", {"reason": "odd smell"}),
        "release_batch": ("held", {"reason": "odd smell"}),
        "free_evidence": ("held", {"reason": "found at the pole", "evidence": True}),
    }
    if act in earlier:
        kind, facts = earlier[act]
        builders.happened(blanket, kind, **facts)
    return (blanket,)


def do(act, gear, by, cast, home):
    """One act, done as its page does it."""
    first, doing = gear[0], Act(by)
    last = first.entry_set.order_by("-position").first()
    if act in ("hold", "reject", "report_lost", "mark_needs_cleaning", "send_for_test", "send_for_repair"):
        return getattr(condition, act)(first, reason="seen at the gate", act=doing)
    return {
        "report_found": lambda: condition.report_found(first, act=doing),
        "report_event": lambda: condition.report_event(first, event="suspect", act=doing),
        "inspect_before_use": lambda: looks.inspect_before_use(first, outcome="accept", act=doing),
        "note": lambda: condition.note(first, text="seen at the gate", act=doing),
        "mark_cleaned": lambda: looks.mark_cleaned(first, act=doing),
        "accept_by_eye": lambda: looks.look(first, outcome="accept", act=doing),
        "look": lambda: looks.look(first, outcome="reject", act=doing),
        "record_repair": lambda: looks.record_repair(first, done="patched", act=doing),
        "destroy": lambda: condition.destroy(first, witness=cast.dev, reason="cut up", act=doing),
        "release": lambda: condition.release(first, hold_id=str(last.pk), reason="aired", act=doing),
        "free_evidence": lambda: condition.free_evidence(
            first, hold_id=str(last.pk), reason="closed", act=doing
        ),
        "release_batch": lambda: batches.release_all(in_batch(last, cast), reason="aired", act=doing),
        "move": lambda: custody.move([first], to=home, act=doing),
        "issue": lambda: custody.issue([first], to=builders.holder("person", "Dev"), act=doing),
        "mate": lambda: sets.mate(*gear, act=doing),
        "split": lambda: sets.split(first, act=doing),
        "relabel": lambda: relabelling.relabel(first, reason="copied", act=doing),
        "correct": lambda: corrections.correct(last, new=None, reason="typed twice", act=doing),
        "log_test": lambda: testing.log_test(first, accepted_reading(), act=doing),
    }[act]()


def in_batch(hold, cast):
    """The batch of one hold, as somebody else placed it."""
    stated = {"number": "H-0001", "about": "recall", "subject": "x", "reason": "x", "pieces": 1}
    batch = HoldBatch(by=cast.pim, **stated)
    append(batch)
    BatchHold.objects.create(entry=hold, batch=batch, item=hold.item)
    return batch


def accepted_reading():
    return Reading(
        tested_on=builders.today(),
        purpose="in_service",
        supply="ac",
        applied_v=20000,
        seconds=60,
        visual="accept",
    )


DOER = {"release": "ines", "release_batch": "ines", "free_evidence": "ines"}
BOUND = sorted(BOUND_TO_DEPOT)
FREE = ["hold", "inspect_before_use", "note", "reject", "report_event", "report_found", "report_lost"]


@pytest.mark.parametrize("act", BOUND)
def test_a_bound_act_is_refused_for_gear_of_another_depot_and_the_refusal_kept(cast, depots, act):
    gear, by = gear_at(depots.shelf, act), getattr(cast, DOER.get(act, "orla"))
    entries = Entry.objects.count()
    with pytest.raises(NotAllowed, match="another depot"):
        do(act, gear, by, cast, builders.holder("shelf", "Home shelf"))
    assert Entry.objects.count() == entries
    assert Refusal.objects.get().by == by


@pytest.mark.parametrize("act", [act for act in BOUND if act not in ("send_for_repair", "correct")])
def test_the_same_act_is_done_to_gear_of_ones_own_depot(cast, depots, act):
    home = builders.holder("shelf", "Own shelf")
    gear, by = gear_at(home, act), getattr(cast, DOER.get(act, "orla"))
    entries = Entry.objects.count()
    do(act, gear, by, cast, builders.holder("shelf", "Another shelf"))
    assert Entry.objects.count() > entries


@pytest.mark.parametrize("act", FREE)
def test_what_takes_gear_out_of_use_is_done_wherever_it_is_found(cast, depots, act):
    gear = gear_at(depots.shelf, act)
    entries = Entry.objects.count()
    do(act, gear, cast.dev, cast, depots.shelf)
    assert Entry.objects.count() == entries + 1


@pytest.mark.parametrize(
    ("bound", "depot", "refused"),
    [
        (True, "Upper Clay", True),
        (True, "Harbour depot", False),
        (True, None, False),  # gear of no depot is everybody's
        (False, "Upper Clay", False),
    ],
)
def test_only_who_is_bound_is_held_to_a_depot(cast, bound, depot, refused):
    cast.orla.depot = cast.depot if bound else None
    if refused:
        with pytest.raises(NotAllowed):
            check_scope(cast.orla, depot, act="issue")
    else:
        check_scope(cast.orla, depot, act="issue")
    check_scope(None, depot, act="issue")  # a command is bound to none


# Two crews: what is on file of the people of one is no business of the other


@pytest.fixture
def strangers(cast, depots):
    """Rasmus of crew 21 with an e-mail address, a sign-in and a truck, and gear of his own."""
    details = people.Details(
        first_name="Rasmus",
        last_name="Quill",
        email="rasmus.quill@example.org",
        crew=depots.crew,
        has_gear=True,
    )
    rasmus = people.add("rasmusq", details=details, password="brackish water rises twice", act=Act(cast.pim))
    left, right = builders.pair(at=depots.shelf)
    builders.tested(left, right)
    builders.issued(left, right, to=rasmus.holder, by=cast.orla)
    depots.rasmus, depots.glove = rasmus, left
    return depots


PRIVATE = ("rasmus.quill@example.org", "555-0121", "rasmusq")


@pytest.mark.parametrize("name", ["dev", "bertrand"])
def test_no_page_shows_a_worker_or_foreman_what_is_on_file_of_another_crews_people(cast, strangers, name):
    reader = Client(raise_request_exception=False)
    reader.force_login(getattr(cast, name))
    examples = {
        "item_no": strangers.glove.item_no,
        "code": "ABCDEFGHJKX",
        "verb": "hold",
        "number": "L-0001",
        "batch_no": "H-0001",
        "uuid": str(strangers.glove.entry_set.get(kind="tested").pk),
        "session_no": day(cast.orla).number,
    }
    keys = {"person": strangers.rasmus.pk, "crew": strangers.crew.pk, "depot": strangers.clay.pk}
    opened = []
    for route in sorted(ROUTES):
        if route.startswith("admin:") or "GET" not in gate.methods_of(route):
            continue
        address = address_of(route, examples, keys={**keys, "holder": strangers.truck.pk})
        for asked in (address, f"{address}?q=Rasmus+Quill"):
            answer = reader.get(asked)
            page = b"".join(answer).decode("utf-8", errors="replace")
            opened.append(answer.status_code == 200)
            assert not [words for words in PRIVATE if words in page], asked
    assert any(opened)


@pytest.mark.parametrize("name", ["dev", "bertrand", "orla"])
def test_the_pages_about_people_are_closed_to_whoever_manages_none(cast, strangers, name):
    reader = Client()
    reader.force_login(getattr(cast, name))
    for route in ("people", "crews", "depots", "holders"):
        assert reader.get(reverse(route)).status_code == 403
    for route in ("person", "person_edit", "person_password", "person_pin", "person_active"):
        assert reader.get(reverse(route, args=[strangers.rasmus.pk])).status_code == 403
