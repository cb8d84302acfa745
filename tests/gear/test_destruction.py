"""Destruction in front of a witness: two people, all or none, numbered, and the same paper for ever."""

import threading
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.contrib.auth.hashers import make_password
from django.core.cache import caches
from django.db import connection, transaction
from rest_framework.test import APIClient

from gear.actions.acting import Act, Refused
from gear.actions.destruction import destroy_batch
from gear.models import DestructionBatch, Entry, Refusal, Submission
from gear.permissions import NotAllowed
from gear.queries import rejects
from tests import builders
from tests.gear.act_forms import condition
from tests.gear.policy_pages import signed_in

pytestmark = pytest.mark.django_db
SECRET = "dev keeps a secret"
PAGE = "/rejects/destroy/"


@pytest.fixture(autouse=True)
def no_tries_yet(db):
    caches["sign_in"].clear()


@pytest.fixture
def rejected(cast):
    """Three rejected blankets, B-1 to B-3."""
    pieces = [builders.blanket(f"B-{number}", serial=f"SN-{number}") for number in (1, 2, 3)]
    for piece in pieces:
        builders.happened(
            piece, "rejected", reason="cut", by=cast.dev, on=builders.today() - timedelta(days=2)
        )
    return pieces


def destroy(pieces, cast, *, witness=None, secret=SECRET, by=None, reason="cut in four", act=None):
    return destroy_batch(
        pieces, witness=witness or cast.dev, secret=secret, reason=reason, act=act or Act(by or cast.orla)
    )


def test_all_pieces_are_destroyed_as_one_numbered_act(cast, rejected):
    batch = destroy(rejected, cast)
    assert str(batch) == "D-0001"
    for piece in rejected:
        facts = piece.entry_set.get(kind="destroyed").facts
        assert facts == {"v": 1, "reason": "cut in four", "witness": "dev", "batch": "D-0001"}
        assert condition(piece) == "destroyed"
    assert (batch.by, batch.witness, len(batch.pieces)) == (cast.orla, cast.dev, 3)


def test_the_next_batch_has_the_next_number(cast, rejected):
    assert [str(destroy([piece], cast)) for piece in rejected] == ["D-0001", "D-0002", "D-0003"]


def test_the_witness_confirms_with_a_pin_as_well(cast, rejected):
    cast.dev.pin = make_password("8271")
    cast.dev.save()
    assert destroy(rejected, cast, secret="8271").number == 1


@pytest.mark.parametrize(
    ("witness", "secret", "code"),
    [
        ("orla", "orla keeps a secret", "OWN_WITNESS"),  # the same person twice, even with the right password
        ("dev", "orla keeps a secret", "WITNESS_NOT_CONFIRMED"),  # somebody else's password
        ("dev", "", "WITNESS_NOT_CONFIRMED"),
    ],
)
def test_without_a_second_person_nothing_is_destroyed_and_the_refusal_is_kept(
    cast, rejected, witness, secret, code
):
    with pytest.raises(Refused) as refusal:
        destroy(rejected, cast, witness=getattr(cast, witness), secret=secret)
    assert refusal.value.code == code
    kept = Refusal.objects.get()
    assert (kept.code, kept.by, kept.subject) == (code, cast.orla, witness)
    assert not Entry.objects.filter(kind="destroyed").exists()
    assert not DestructionBatch.objects.exists()


def test_who_was_deactivated_is_no_witness(cast, rejected):
    cast.dev.is_active = False
    cast.dev.save()
    with pytest.raises(Refused, match="another person who is on the list"):
        destroy(rejected, cast)


def test_a_witness_without_any_secret_is_told_apart(cast, rejected):
    cast.dev.set_unusable_password()
    cast.dev.save()
    with pytest.raises(Refused, match="neither a password nor a PIN"):
        destroy(rejected, cast, secret="")


def test_guessing_is_slow_and_the_right_secret_waits_as_well(cast, rejected):
    with time_machine.travel(1_790_000_000, tick=False) as clock:
        for _try in range(5):
            with pytest.raises(Refused, match="not the password"):
                destroy(rejected, cast, secret="a guess")
        with pytest.raises(Refused, match="Too many tries"):
            destroy(rejected, cast)
        clock.shift(61)
        assert destroy(rejected, cast).number == 1


def test_right_secrets_are_not_counted_as_tries(cast):
    for _one in range(7):
        piece = builders.blanket()
        builders.happened(piece, "rejected", reason="cut")
        destroy([piece], cast)
    assert DestructionBatch.objects.count() == 7


def test_one_piece_that_may_not_be_destroyed_keeps_all_of_them(cast, rejected):
    whole = builders.blanket("B-9")
    with pytest.raises(Refused, match="B-9: This item is not rejected"):
        destroy([*rejected, whole], cast)
    assert not Entry.objects.filter(kind="destroyed").exists()
    assert Refusal.objects.get().subject == "B-1, B-2, B-3, B-9"
    assert destroy(rejected, cast).number == 1  # no number is left out


def test_what_was_destroyed_is_not_destroyed_again(cast, rejected):
    destroy(rejected, cast)
    with pytest.raises(Refused, match="was destroyed"):
        destroy(rejected[:1], cast)


@pytest.mark.parametrize("name", ["dev", "ines", "halvard", "pim"])
def test_only_the_clerk_destroys(cast, rejected, name):
    with pytest.raises(NotAllowed):
        destroy(rejected, cast, by=getattr(cast, name), witness=cast.marisol, secret="marisol keeps a secret")


def test_a_batch_says_how_and_has_a_piece(cast, rejected):
    with pytest.raises(Refused, match="reason"):
        destroy(rejected, cast, reason=" ")
    with pytest.raises(Refused, match="at least one"):
        destroy([], cast)


# The line that the certificate shows


def test_the_verification_follows_from_the_record_alone(cast, rejected):
    batch = destroy(rejected, cast)
    first = rejects.batch(batch.number)
    assert first.whole
    assert first.verification == rejects.batch(batch.number).verification
    assert [piece.item_no for piece in first.pieces] == ["B-1", "B-2", "B-3"]


def test_a_batch_whose_record_was_meddled_with_is_not_whole(cast, rejected, past_the_guards):
    batch = destroy(rejected, cast)
    known = rejects.batch(batch.number).verification
    with transaction.atomic():
        past_the_guards(
            "UPDATE gear_entry SET kind = 'noted', hash = 'x' WHERE id = %s", batch.pieces[0].replace("-", "")
        )
        changed = rejects.batch(batch.number)
    assert changed.verification != known or not changed.whole


def test_a_batch_that_does_not_exist_is_none(db):
    assert rejects.batch(7) is None


# The page


@pytest.fixture
def orla(cast):
    return signed_in(cast.orla)


def fields(cast, *pieces, **more):
    return {
        "id": str(uuid4()),
        "pieces": [piece.item_no for piece in pieces],
        "reason": "cut in four",
        "confirmed": "on",
        "witness": cast.dev.pk,
        "secret": SECRET,
        "scanned": "",
    } | more


def test_ticked_and_scanned_pieces_become_one_batch(orla, cast, rejected):
    sent = fields(cast, rejected[0], scanned=" B-2\nB-3\r\nB-3\n")
    answer = orla.post(PAGE, sent)
    assert (answer.status_code, answer.url) == (302, "/rejects/destroyed/1/")
    page = orla.get(answer.url).content.decode()
    assert "D-0001" in page
    assert all(f"B-{number}" in page for number in (1, 2, 3))
    assert orla.post(PAGE, sent).url == answer.url  # sent twice, destroyed once
    assert DestructionBatch.objects.count() == 1


def test_no_trace_of_the_secret_is_kept(orla, cast, rejected):
    sent = fields(cast, *rejected)
    orla.post(PAGE, sent)
    first = Submission.objects.get().fingerprint
    again = orla.post(PAGE, {**sent, "secret": "another"})
    assert again.status_code == 302  # known by all but the secret
    assert Submission.objects.get().fingerprint == first


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"secret": "wrong"}, "not the password or PIN of the witness"),
        ({"confirmed": ""}, "Tick this once all are destroyed"),
        ({"scanned": "B-99"}, "There is no item B-99"),
        ({"pieces": [], "scanned": ""}, "at least one rejected piece"),
        ({"witness": ""}, "This field is required"),
    ],
)
def test_what_is_missing_stands_beside_its_field(orla, cast, rejected, more, sentence):
    answer = orla.post(PAGE, fields(cast, *rejected, **more))
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert SECRET not in answer.content.decode()
    assert not DestructionBatch.objects.exists()


def test_who_destroys_is_not_offered_as_the_witness(orla, cast, rejected):
    page = orla.get(PAGE, {"item": ["B-1", "B-2"]}).content.decode()
    assert f'<option value="{cast.dev.pk}">' in page
    assert f'<option value="{cast.orla.pk}">' not in page
    assert page.count('name="pieces"') == 2


# Two at once, and by API


@pytest.mark.django_db(transaction=True)
def test_two_batches_at_the_same_moment_get_two_numbers(cast, rejected):
    barrier, numbers = threading.Barrier(2), []

    def work(piece):
        barrier.wait()
        try:
            numbers.append(destroy([piece], cast).number)
        finally:
            connection.close()

    threads = [threading.Thread(target=work, args=(piece,)) for piece in rejected[:2]]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(numbers) == [1, 2]


def test_by_api_the_witness_confirms_as_well(cast, rejected):
    client = APIClient()
    client.force_login(cast.orla)
    url = f"/api/v1/items/{rejected[0].item_no}/acts/"
    sent = {"client_uuid": str(uuid4()), "act": "destroy", "reason": "cut in four", "witness": "dev"}
    assert client.post(url, sent, format="json").status_code == 422
    sent = {**sent, "client_uuid": str(uuid4()), "witness_secret": SECRET}
    answer = client.post(url, sent, format="json")
    assert answer.status_code == 201
    assert answer.json()["entries"][0]["kind"] == "destroyed"
    assert DestructionBatch.objects.get().pieces == [sent["client_uuid"]]


def test_by_api_a_place_is_given_as_its_code(cast):
    client = APIClient()
    client.force_login(cast.dev)
    hose = builders.item("line_hose", cls="2")
    url = f"/api/v1/items/{hose.item_no}/acts/"
    sent = {"act": "inspect_before_use", "outcome": "reject", "words": ["cut"]}
    for place, status in (("palm", 422), ("bore", 201)):
        answer = client.post(url, {**sent, "client_uuid": str(uuid4()), "place": place}, format="json")
        assert answer.status_code == status
    assert hose.entry_set.get(kind="inspected").facts["place"] == "bore"
