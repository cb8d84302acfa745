"""A piece kept as evidence: everybody may look and say what they know, nobody may change it, two supervisors end it."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from gear import queries
from gear.actions import batches, condition, corrections, custody, destruction, looks, relabelling, sets
from gear.actions.acting import Act, Refused
from gear.ledger import Draft, record
from gear.ledger.beside import problems_beside
from gear.models import Entry, EvidenceKept, Refusal
from gear.permissions import NotAllowed
from gear.rules import transitions
from tests import builders

pytestmark = pytest.mark.django_db
WHY = "contact at pole 7"


@pytest.fixture
def pair(cast):
    """A tested pair on a shelf; its left glove is kept as evidence by Ines."""
    left, right = builders.pair()
    builders.tested(left, right)
    condition.keep_evidence(left, reason=WHY, act=Act(cast.ines))
    return left, right


@pytest.fixture
def second():
    return builders.person("supervisor", "another-supervisor")


def verdict(item):
    return queries.answer(item.item_no, queries.question())


def hold_of(item):
    return str(EvidenceKept.objects.get(item=item).pk)


def test_it_is_stop_with_a_block_of_its_own_and_so_is_its_mate(pair):
    left, right = pair
    told = verdict(left)
    assert (told.verdict, told.reasons[0].code, told.reasons[0].values["why"]) == ("stop", "EVIDENCE", WHY)
    assert verdict(right).verdict == "stop"


# act: (the code of its refusal or nothing, doing it). Tests stand in tests/inspections/test_evidence.py.
ACTS = {
    "clean": ("KEPT_AS_EVIDENCE", lambda c, i: looks.mark_cleaned(i, act=Act(c.orla))),
    "needs_cleaning": (
        "KEPT_AS_EVIDENCE",
        lambda c, i: condition.mark_needs_cleaning(i, reason="mud", act=Act(c.orla)),
    ),
    "accept_by_eye": ("KEPT_AS_EVIDENCE", lambda c, i: looks.look(i, outcome="accept", act=Act(c.orla))),
    "look_before_use": (
        "KEPT_AS_EVIDENCE",
        lambda c, i: looks.inspect_before_use(i, outcome="accept", act=Act(c.dev)),
    ),
    "send_for_repair": (
        "KEPT_AS_EVIDENCE",
        lambda c, i: condition.send_for_repair(i, reason="x", act=Act(c.orla)),
    ),
    "record_repair": ("KEPT_AS_EVIDENCE", lambda c, i: looks.record_repair(i, done="x", act=Act(c.orla))),
    "relabel": ("KEPT_AS_EVIDENCE", lambda c, i: relabelling.relabel(i, reason="worn", act=Act(c.orla))),
    "split": ("KEPT_AS_EVIDENCE", lambda c, i: sets.split(i, act=Act(c.orla))),
    "mate": ("KEPT_AS_EVIDENCE", lambda c, i: sets.mate(i, builders.glove(hand="R"), act=Act(c.orla))),
    "reject": ("KEPT_AS_EVIDENCE", lambda c, i: condition.reject(i, reason="x", act=Act(c.orla))),
    "send_for_test": (
        "KEPT_AS_EVIDENCE",
        lambda c, i: condition.send_for_test(i, reason="x", act=Act(c.orla)),
    ),
    "issue": ("NOT_FROM_HELD", lambda c, i: custody.issue([i], to=person(), act=Act(c.orla))),
    "into_hands": ("NOT_GOOD", lambda c, i: custody.move([i], to=person(), act=Act(c.orla))),
    "keep_again": ("KEPT_AS_EVIDENCE", lambda c, i: condition.keep_evidence(i, reason="x", act=Act(c.ines))),
    "hold": ("", lambda c, i: condition.hold(i, reason="odd", act=Act(c.dev))),
    "report_event": ("", lambda c, i: condition.report_event(i, event="dropped", act=Act(c.dev))),
    "report_lost": ("", lambda c, i: condition.report_lost(i, reason="gone", act=Act(c.dev))),
    "note": ("", lambda c, i: condition.note(i, text="seen", act=Act(c.dev))),
    "damage": (
        "",
        lambda c, i: looks.inspect_before_use(i, outcome="reject", words=["cut"], act=Act(c.dev)),
    ),
    "look_of_a_phone": (
        "",
        lambda c, i: looks.inspect_before_use(i, outcome="accept", act=Act(c.dev, via="field")),
    ),
    "to_the_safe": ("", lambda c, i: custody.move([i], to=safe(), act=Act(c.orla))),
    "recall": ("", lambda c, i: batches.hold_all([i], cause=RECALL, reason="x", act=Act(c.orla))),
}
RECALL = batches.Cause("recall", "Recall: lot 7A")


def person():
    return builders.holder("person", "Dev")


def safe():
    return builders.holder("shelf", "Safe")


@pytest.mark.parametrize("name", ACTS)
def test_who_tries_what(pair, cast, name):
    code, doing = ACTS[name]
    left = pair[0]
    entries = Entry.objects.filter(item=left).count()
    if not code:
        doing(cast, left)
        assert Entry.objects.filter(item=left).count() == entries + 1
        assert verdict(left).verdict == "stop"
        return
    with pytest.raises(Refused) as refused:
        doing(cast, left)
    assert refused.value.code == code
    assert Entry.objects.filter(item=left).count() == entries
    assert Refusal.objects.order_by("-at").first().code == code


def test_its_pair_is_not_split_by_way_of_its_mate(pair, cast):
    left, right = pair
    entries = Entry.objects.filter(item=left).count()
    with pytest.raises(Refused, match=f"{left}: This item is kept as evidence"):
        sets.split(right, act=Act(cast.orla))
    assert Entry.objects.filter(item=left).count() == entries
    assert verdict(right).verdict == "stop"


def test_a_rejected_piece_is_not_destroyed_while_it_is_evidence(cast):
    piece = builders.blanket()
    builders.happened(piece, "rejected", reason="burned")
    condition.keep_evidence(piece, reason=WHY, act=Act(cast.ines))
    with pytest.raises(Refused, match="kept as evidence"):
        destruction.destroy_batch(
            [piece], witness=cast.dev, secret="dev keeps a secret", reason="x", act=Act(cast.orla)
        )


def test_every_act_on_a_piece_is_in_the_table_of_changes():
    """Whoever adds an act says there whether it may be done to evidence: nothing is allowed by being forgotten."""
    assert set(transitions.FROM) >= transitions.WHILE_KEPT
    assert {"log_test", "mark_cleaned", "accept_by_eye", "record_repair", "send_for_repair", "relabel", "mate",
            "split", "reject", "destroy", "send_for_test", "issue", "hand_back"} <= (
        set(transitions.FROM) - transitions.WHILE_KEPT
    )  # fmt: skip


def test_moving_it_records_both_ends(pair, cast):
    left = pair[0]
    before = left.state.facts["holder"]["name"]
    custody.move([left], to=safe(), act=Act(cast.orla))
    (entry,) = Entry.objects.filter(item=left, kind="returned")
    assert (before, entry.facts["holder"]["name"], entry.by) == ("The shelf", "Safe", cast.orla)


def test_only_a_supervisor_keeps_and_only_another_frees(pair, cast, second):
    left, right = pair
    with pytest.raises(NotAllowed):
        condition.keep_evidence(right, reason=WHY, act=Act(cast.orla))
    for who, code in ((cast.ines, "OWN_HOLD"), (second, "KEPT_AS_EVIDENCE")):
        doing = condition.free_evidence if who is cast.ines else condition.release
        with pytest.raises(Refused) as refused:
            doing(left, hold_id=hold_of(left), reason="done", act=Act(who))
        assert refused.value.code == code
    assert verdict(left).reasons[0].code == "EVIDENCE"
    condition.free_evidence(left, hold_id=hold_of(left), reason="report is in", act=Act(second))
    assert (verdict(left).verdict, verdict(right).verdict) == ("good", "good")


@pytest.mark.parametrize("new", ["withdrawn", "softened"])
def test_no_correction_ends_it(pair, cast, second, new):
    began = Entry.objects.get(pk=hold_of(pair[0]))
    said = None if new == "withdrawn" else corrections.replacement(began, facts={"reason": WHY})
    with pytest.raises(Refused, match="second supervisor"):
        corrections.correct(began, new=said, reason="mistake", act=Act(second))


def test_no_correction_of_another_release_ends_it(cast, second):
    piece = builders.blanket()
    hold = condition.hold(piece, reason="odd", act=Act(cast.dev))
    released = condition.release(piece, hold_id=str(hold.pk), reason="fine", act=Act(cast.ines))
    kept = condition.keep_evidence(piece, reason=WHY, act=Act(cast.ines))
    new = corrections.replacement(released, facts={"hold": str(kept.pk), "reason": "fine"})
    with pytest.raises(Refused, match="second supervisor"):
        corrections.correct(released, new=new, reason="mistake", act=Act(second))


def test_a_plain_hold_is_read_as_it_always_was(cast):
    piece = builders.blanket()
    builders.tested(piece)
    builders.happened(piece, "held", reason="odd")
    assert verdict(piece).reasons[0].code == "HELD"
    record(Draft(piece, "held", {"reason": "x", "evidence": False}), by=None, via="system")
    assert {reason.code for reason in verdict(piece).reasons} == {"HELD"}


def test_keeping_it_twice_under_one_id_is_once(cast):
    piece, act = builders.blanket(), Act(cast.ines)
    condition.keep_evidence(piece, reason=WHY, act=act)
    with pytest.raises(Refused):
        condition.keep_evidence(piece, reason=WHY, act=act)
    assert EvidenceKept.objects.count() == 1


# Pages and API
def test_the_page_of_the_piece_offers_what_may_be_done(pair, cast, client, second):
    left = pair[0]
    for who, offered in ((cast.ines, True), (cast.orla, False), (cast.halvard, False)):
        client.force_login(who)
        told = client.get(reverse("item", args=[left.item_no]))
        page, verbs = told.content.decode(), {act.verb for act in told.context["acts"]}
        assert ("End keeping it as evidence" in page) is offered
        assert "Kept as evidence since" in page
        assert not verbs & {"log_test", "relabel", "split", "reject", "issue", "send_for_test", "release"}
    client.force_login(second)
    address = reverse("act", args=[left.item_no, "free_evidence"])
    form = client.get(address).context["form"]
    sent = {"id": form["id"].value(), "hold": hold_of(left), "reason": "report is in"}
    assert client.post(address, sent).status_code == 302
    assert verdict(left).verdict == "good"


@pytest.mark.parametrize(
    ("act", "status"), [("mark_cleaned", 422), ("reject", 422), ("send_for_test", 422), ("note", 201)]
)
def test_the_api_refuses_the_same(pair, cast, client, act, status):
    client.force_login(cast.orla)
    body = {"client_uuid": str(Act(None).id), "act": act, "reason": "x"}
    address = reverse("api_acts", args=[pair[0].item_no])
    told = client.post(address, body, content_type="application/json")
    assert told.status_code == status
    assert status == 201 or "evidence" in told.content.decode()


def test_the_list_says_what_is_kept_since_when_by_whom_and_where(pair, cast, client, second):
    client.force_login(cast.halvard)
    page = client.get(reverse("evidence")).content.decode()
    assert all(word in page for word in (pair[0].item_no, WHY, cast.ines.name, "The shelf"))
    condition.free_evidence(pair[0], hold_id=hold_of(pair[0]), reason="report is in", act=Act(second))
    page = client.get(reverse("evidence") + "?page=x").content.decode()
    assert "No piece is kept as evidence." in page
    assert "report is in" in page


def test_the_list_asks_as_often_for_many_as_for_one(pair, cast, client):
    client.force_login(cast.halvard)
    with CaptureQueriesContext(connection) as few:
        client.get(reverse("evidence"))
    for _one in range(4):
        condition.keep_evidence(builders.blanket(), reason=WHY, act=Act(cast.ines))
    with CaptureQueriesContext(connection) as many:
        client.get(reverse("evidence"))
    assert len(many) == len(few)


# Beside the entries
@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM gear_evidencekept",
        "UPDATE gear_evidencekept SET item_id = (SELECT max(id) FROM gear_item)",
    ],
)
def test_an_index_that_lost_or_changed_a_row_is_found(pair, past_the_guards, statement):
    assert not list(problems_beside())
    past_the_guards(statement)
    assert [one.subject for one in problems_beside()] == ["table:gear_evidencekept"]


def test_a_hold_from_the_future_of_a_wrong_clock_does_not_exist(cast):
    piece = builders.blanket()
    act = Act(cast.ines, occurred_at=timezone.now() + timedelta(days=2))
    with pytest.raises(Exception, match="future"):
        condition.keep_evidence(piece, reason=WHY, act=act)
    assert not EvidenceKept.objects.exists()
