"""A label is replaced: the new code is in force, and the old one never answers for the piece again."""

import random

import pytest

from gear import queries
from gear.actions.acting import Act, Refused
from gear.actions.relabelling import relabel
from gear.ledger import verify
from gear.models import Entry, ItemState, Label, Refusal
from gear.permissions import NotAllowed
from gear.rules import codes
from tests import builders

pytestmark = pytest.mark.django_db
OLD = codes.new_code(random.Random(3))


@pytest.fixture
def blanket(cast):
    """A blanket in date, with a label."""
    made = builders.blanket("B-1", label=OLD)
    builders.tested(made)
    return made


def in_force(item):
    return ItemState.objects.get(item=item).label


def test_the_new_code_is_in_force_and_the_entry_says_what_it_replaces_and_why(cast, blanket):
    entry = relabel(blanket, reason="washed off", act=Act(cast.orla))
    new = in_force(blanket)
    assert new != OLD
    assert codes.is_valid(new)
    assert entry.facts == {"v": 1, "code": new, "replaces": OLD, "reason": "washed off"}
    assert entry.by == cast.orla
    assert verify.verify() == []


def test_the_old_code_is_void_for_ever(cast, blanket, client):
    relabel(blanket, reason="copied", act=Act(cast.orla))
    middle = in_force(blanket)
    relabel(blanket, reason="copied again", act=Act(cast.orla))
    for void in (OLD, middle):
        (told,) = queries.answers_to([void], queries.question(), base_url="http://x.example")
        assert (told.verdict, told.reasons[0].code) == ("stop", "LABEL_REPLACED")
        page = client.get(f"/t/{void}").content.decode()
        assert "STOP. DO NOT USE" in page
        assert "Old label. It was replaced; this label is void." in page
    assert "GOOD THROUGH" in client.get(f"/t/{in_force(blanket)}").content.decode()


def test_a_search_for_the_old_code_leads_to_its_answer_and_not_to_the_item(cast, blanket, client):
    relabel(blanket, reason="copied", act=Act(cast.orla))
    client.force_login(cast.orla)
    response = client.get("/", {"q": codes.grouped(OLD)}, follow=True)
    assert response.redirect_chain[-1][0] == f"/t/{OLD}"
    assert "this label is void" in response.content.decode()
    found = client.get("/", {"q": in_force(blanket)}, follow=True)
    assert found.redirect_chain[-1][0] == "/items/B-1/"


def test_a_piece_without_a_label_gets_its_first(cast):
    made = builders.blanket("B-2")
    entry = relabel(made, reason="came without", act=Act(cast.orla))
    assert "replaces" not in entry.facts
    assert in_force(made) == entry.facts["code"]


def test_a_reason_is_needed(cast, blanket):
    with pytest.raises(Refused) as refused:
        relabel(blanket, reason="  ", act=Act(cast.orla))
    assert refused.value.code == "NO_REASON"
    assert in_force(blanket) == OLD
    assert Refusal.objects.get().act == "relabel"


@pytest.mark.parametrize("who", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_a_clerk_replaces_labels(cast, blanket, who):
    with pytest.raises(NotAllowed):
        relabel(blanket, reason="copied", act=Act(getattr(cast, who)))
    assert in_force(blanket) == OLD


def test_a_destroyed_piece_gets_no_new_label(cast, blanket):
    builders.happened(blanket, "rejected", reason="cut")
    builders.happened(blanket, "destroyed", reason="cut up", witness="ines")
    with pytest.raises(Refused) as refused:
        relabel(blanket, reason="lost", act=Act(cast.orla))
    assert refused.value.code == "DESTROYED_IS_FINAL"
    assert list(Label.objects.filter(item=blanket).values_list("code", flat=True)) == [OLD]


def test_the_same_act_sent_again_does_not_replace_the_label_twice(cast, blanket, client):
    client.force_login(cast.orla)
    form = {"id": "6f1d1a52-35c4-4c0e-9d4e-0a6f0b6f3a11", "reason": "washed off"}
    for _twice in range(2):
        assert client.post("/items/B-1/do/relabel/", form).status_code == 302
    assert Entry.objects.filter(item=blanket, kind="labelled").count() == 2
