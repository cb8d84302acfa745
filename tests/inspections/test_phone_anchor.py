"""A phone holds the newest seal it was handed: a record that lacks it is an older copy, and says so by itself."""

import json
from datetime import timedelta

import pytest
import time_machine
from django.core.management import call_command
from django.utils import timezone

from gear.ledger import Draft, make_seal, outside, record
from gear.ledger.seals import Anchor
from gear.models import Entry, Seal
from gear.queries import answer, question, restored
from inspections.field import signing
from tests import builders
from tests.inspections.fielding import NONCE, at, bundle, outcomes, phone_of, send
from tests.inspections.fielding import record as sent

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path


@pytest.fixture
def blanket(cast):
    found = builders.blanket("B-1")
    builders.tested(found)
    return found


@pytest.fixture
def phone(cast, blanket):
    return phone_of(cast.dev)


def told():
    found = answer("B-1", question())
    return found.verdict, [reason.code for reason in found.reasons]


GOOD, DOUBT = ("good", []), ("unknown", ["RESTORED"])


def shown(phone, envelope):
    """What the phone is told once it shows this seal."""
    return bundle(phone, seal=json.dumps(envelope))


def stated(**changed):
    ours = {"v": 1, "what": "seal", "installation": signing.installation(), "since": ""}
    return signing.signed({**ours, "number": 7, "hash": "a" * 64, **changed})


def put_back():
    facts = {"made_at": timezone.now().isoformat(), "seal": "", "head": "0" * 64}
    return record(Draft(None, "restored", facts), by=None, via="system")


def sign(reason="the disk died"):
    call_command("confirm_restore", "--by", "pim", "--reason", reason)


def test_a_seal_that_is_in_the_record_changes_nothing(phone):
    assert bundle(phone)["seal"] is None
    seal = make_seal(timezone.now())
    held = bundle(phone)["seal"]
    assert json.loads(held["text"])["hash"] == seal.hash
    before = bundle(phone)["epoch"]
    assert shown(phone, held)["epoch"] == before
    assert told() == GOOD


def test_an_older_copy_without_its_list_of_seals_is_noticed_by_the_first_phone(phone, past_the_guards):
    call_command("seal_ledger")
    held = bundle(phone)["seal"]
    past_the_guards("DELETE FROM gear_seal")  # the whole machine, set back to yesterday
    outside.list_file().unlink()
    assert told() == GOOD, "nothing on this machine tells"
    first = shown(phone, held)
    assert told() == DOUBT
    assert first["epoch"] != "/"
    assert shown(phone, held)["epoch"] == first["epoch"]
    sign()
    assert told() == GOOD
    shown(phone, held)  # from before the gap that was signed for
    assert told() == GOOD


def test_what_we_did_not_sign_says_nothing(phone):
    true = stated()
    flipped = true["signature"][:20] + ("A" if true["signature"][20] != "A" else "B") + true["signature"][21:]
    for wrong in (
        {**true, "signature": flipped},
        {**true, "signature": "AAAA"},
        {**true, "signature": "no base64"},
        {**true, "text": true["text"].replace("7", "8", 1)},
        {"text": true["text"]},
        {"text": 1, "signature": 2},
        stated(what="bundle"),
        stated(installation="http://another.example 0000"),
        [true],
        "seal",
    ):
        shown(phone, wrong)
        assert told() == GOOD, wrong
    for text in ("", "{", "x" * 5000):
        phone.get("/truck/bundle/", {"nonce": NONCE, "seal": text})
        assert told() == GOOD, text
    shown(phone, true)
    assert told() == DOUBT


def test_a_seal_is_heard_whoever_shows_it_because_an_older_copy_knows_no_newer_phone(client, blanket):
    refused = client.get("/truck/bundle/", {"nonce": NONCE, "seal": json.dumps(stated())})
    assert refused.json()["refused"] == "NO_DEVICE"
    assert told() == DOUBT


def test_a_seal_is_heard_from_a_phone_whose_person_is_signed_out(phone, settings):
    del phone.cookies[settings.SESSION_COOKIE_NAME]
    refused = phone.get("/truck/bundle/", {"nonce": NONCE, "seal": json.dumps(stated())})
    assert refused.json()["refused"] == "SIGN_IN"
    assert told() == DOUBT


# The newest restore, how long ago something happened on a phone that enrolled anew since, and whether its time counts.
@pytest.mark.parametrize(
    ("put_back_days_ago", "happened_days_ago", "counts"),
    [(None, 2, False), (None, 0.9, True), (0, 2, True), (0, 29.9, True), (0, 31, False), (31, 2, False)],
)
def test_after_a_restore_a_phone_that_enrols_anew_sends_true_times(
    put_back_days_ago, happened_days_ago, counts, cast, blanket
):
    now = timezone.now()
    if put_back_days_ago is not None:
        with time_machine.travel(now - timedelta(days=put_back_days_ago)):
            put_back()
            sign()
    browser = phone_of(cast.dev, days_ago=0)
    happened = now - timedelta(days=happened_days_ago)
    one = sent("event", blanket, event="dropped", occurred_at=at(happened))
    assert outcomes(send(browser, one)) == [("recorded", "")]
    entry = Entry.objects.get(item=blanket, kind="event")
    assert (abs(entry.occurred_at - happened) < timedelta(seconds=1)) is counts


# What is on record, what the phone knew of that when it was handed its seal, and whether the lack of the seal tells.
@pytest.mark.parametrize(
    ("history", "since", "missing"),
    [
        ([], "", True),
        ([], "another", True),
        (["restored"], "", True),
        (["restored"], 0, True),
        (["restored", "signed"], "", False),
        (["restored", "signed"], 0, False),
        (["restored", "signed"], 1, True),
        (["restored", "signed"], "another", True),
        (["restored", "compared"], "", True),  # somebody compared a seal that was not the newest
        (["restored", "compared"], 1, True),
        (["restored", "signed", "restored", "compared"], "", False),
        (["restored", "signed", "restored", "compared"], 1, True),
    ],
)
def test_a_seal_is_missed_unless_a_gap_was_signed_for_since(history, since, missing, cast):
    facts = {"signed": {"how": "signed", "reason": "x"}, "compared": {"how": "seal", "seal": "1:" + "b" * 64}}
    entries = []
    for one in history:
        entry = (
            put_back()
            if one == "restored"
            else record(Draft(None, "restore_accepted", facts[one]), by=cast.pim, via="system")
        )
        entries.append(entry)
    name = str(entries[since].pk) if isinstance(since, int) else since
    assert restored.is_missing(Anchor(7, "a" * 64), name) is missing
    Seal(
        number=7, hash="a" * 64, sealed_at=timezone.now(), row_count=1, merkle_root="c" * 64, previous_hash=""
    ).save()
    assert restored.is_missing(Anchor(7, "a" * 64), name) is False
    assert restored.is_missing(Anchor(7, "b" * 64), name) is missing, "another seal of that number"


def test_the_newest_seal_that_is_missed_counts(phone):
    shown(phone, stated(number=7))
    shown(phone, stated(number=6, hash="b" * 64))
    assert restored.waiting().outside_seal == "7:" + "a" * 64
    shown(phone, stated(number=8, hash="c" * 64))
    assert restored.waiting().outside_seal == "8:" + "c" * 64


def test_the_epoch_changes_with_every_restore_and_answer_alone(phone, blanket):
    def epochs():
        sent = send(phone)
        assert sent.json()["epoch"] == bundle(phone)["epoch"]
        return sent.json()["epoch"]

    seen = [epochs()]
    builders.happened(blanket, "noted", note="seen")
    make_seal(timezone.now())
    assert epochs() == seen[0]
    for act in (put_back, sign, put_back):
        act()
        seen.append(epochs())
    assert len(set(seen)) == len(seen)
