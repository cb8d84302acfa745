"""After a restore nobody is told anything but `unknown`, by page, program or phone, until somebody answers for it."""

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from gear.ledger import Draft, make_seal, outside, record
from gear.models import Entry, Refusal, Seal
from gear.queries import answer, fleet, question, restored, seen
from gear.queries.health import RED
from gear.queries.questions import rules_today
from reports.pdf.dossier_words import side
from tests import builders
from tests.gear.answer_page import CODES
from tests.inspections.fielding import bundle, good_pair, live, phone_of, truck

pytestmark = pytest.mark.django_db
CODE = CODES[0]


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path


@pytest.fixture
def blanket(cast):
    found = builders.blanket("B-1", label=CODE)
    builders.tested(found)
    return found


def sealed():
    return make_seal(timezone.now())


def put_back(seal=""):
    """As a restore leaves it on record."""
    facts = {"made_at": "2026-09-14T02:00:00+00:00", "seal": seal, "head": "0" * 64}
    return record(Draft(None, "restored", facts), by=None, via="system")


def told():
    found = answer("B-1", question())
    return found.verdict, [reason.code for reason in found.reasons]


GOOD, DOUBT = ("good", []), ("unknown", ["RESTORED"])


def test_page_program_list_and_phone_say_the_same(blanket, cast, client):
    good_pair(truck(), tested_on=builders.today())
    browser = phone_of(cast.dev)
    client.force_login(cast.dev)
    put_back()
    assert told() == DOUBT
    assert {one.verdict for one, _facts in fleet(question())} == {"unknown"}
    page = client.get(f"/t/{CODE}").content.decode()
    assert "put back from a backup" in page
    assert "GOOD THROUGH" not in page
    assert client.get("/api/v1/items/B-1/answer/").json()["verdict"] == "unknown"
    assert {day["verdict"] for row in bundle(browser)["items"] for day in row["answers"]} == {"unknown"}
    assert {day["verdict"] for day in live(browser, CODE)["item"]["answers"]} == {"unknown"}


def test_no_page_states_a_last_good_day_of_the_pair_meanwhile(cast, client):
    pair = builders.pair("P-1")
    builders.tested(*pair)
    client.force_login(cast.ines)

    def pages():
        record_of = side(seen(pair[0].item_no, question()), rules_today(), "")
        return client.get(f"/items/{pair[0].item_no}/").content.decode(), str(record_of)

    page, row = pages()
    assert "set is good through" in page
    assert "Set good through" in row
    put_back()
    page, row = pages()
    assert "good through" not in page
    assert "No clock runs" not in page
    assert "Set good through" not in row


def test_the_worker_reads_it_in_french_and_spanish(blanket, cast, client):
    put_back()
    client.force_login(cast.dev)
    for language, words in (("fr", "sauvegarde"), ("es", "copia de seguridad")):
        assert words in client.get(f"/t/{CODE}", headers={"accept-language": language}).content.decode()


def test_the_newest_seal_held_outside_ends_it(blanket, cast, client):
    seal = sealed()
    put_back(f"{seal.number}:{seal.hash}")
    sealed()  # that night the record is sealed as ever; what counts is the seal it came with
    client.force_login(cast.pim)
    page = client.get("/records/restored/").content.decode()
    assert "has number 1." in page
    assert seal.hash[:8] not in page  # it must come from outside, not from this page
    sent = {"seal": f"{seal.number}:{seal.hash[:16].upper()}", "current": "pim keeps a secret"}
    assert client.post("/records/restored/answer/", sent).status_code == 302
    assert told() == GOOD
    newest = Entry.objects.filter(item=None, gear_set=None).latest("position")
    assert (newest.kind, newest.by, newest.facts["how"]) == ("restore_accepted", cast.pim, "seal")


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"seal": "9:" + "a" * 64}, "not the newest seal"),
        ({"seal": "1:abc"}, "Write it as printed"),
        ({}, "say in a few words"),
        ({"reason": "the disk died", "current": "guess"}, "not your password"),
    ],
)
def test_what_does_not_answer_for_it_changes_nothing(sent, words, blanket, cast, client):
    seal = sealed()
    put_back(f"{seal.number}:{seal.hash}")
    client.force_login(cast.pim)
    page = client.post("/records/restored/answer/", {"current": "pim keeps a secret", **sent})
    assert words in page.content.decode()
    assert told() == DOUBT


def test_an_administrator_may_sign_for_the_gap_and_nobody_else(blanket, cast, client):
    put_back()
    for person in (cast.ines, cast.orla, cast.halvard):
        client.force_login(person)
        assert client.get("/records/restored/").status_code == 200
        assert client.post("/records/restored/answer/", {"reason": "x"}).status_code == 403
    with pytest.raises(CommandError, match="for: Administrator"):
        call_command("confirm_restore", "--by", "ines", "--reason", "the disk died")
    assert Refusal.objects.filter(act="sign_restore", by=cast.ines).exists()
    call_command("confirm_restore", "--by", "pim", "--reason", "the disk died on Sunday")
    assert told() == GOOD
    assert "the disk died on Sunday" in client.get("/records/restored/").content.decode()


def test_an_older_copy_put_back_by_hand_is_noticed_by_the_list_beside_the_database(
    blanket, cast, past_the_guards
):
    call_command("seal_ledger")
    assert told() == GOOD
    past_the_guards("DELETE FROM gear_seal")  # as a copy from before that seal
    assert told() == DOUBT
    assert [one.level for one in restored.check(timezone.now())] == [RED]
    with pytest.raises(CommandError, match="an older copy was put back"):
        call_command("seal_ledger", "--now")
    with pytest.raises(CommandError, match="not the newest seal"):
        call_command("confirm_restore", "--by", "pim", "--seal", "1:" + "a" * 64)
    call_command("confirm_restore", "--by", "pim", "--reason", "no newer backup is left")
    assert told() == GOOD
    call_command("seal_ledger", "--now")
    assert told() == GOOD
    assert outside.newest().hash == Seal.objects.get().hash


def test_a_seal_that_was_made_elsewhere_is_listed_too(blanket):
    seal = sealed()
    call_command("seal_ledger")
    assert outside.newest().hash == seal.hash


def test_a_rewritten_record_with_as_many_seals_is_noticed_too(blanket, past_the_guards):
    call_command("seal_ledger")
    past_the_guards("UPDATE gear_seal SET hash = %s", "f" * 64)
    assert told() == DOUBT


def test_a_second_restore_asks_anew(blanket):
    put_back()
    call_command("confirm_restore", "--by", "pim", "--reason", "first")
    put_back()
    assert told() == DOUBT


def test_a_line_cut_off_by_a_crash_is_passed_over(blanket):
    call_command("seal_ledger")
    with outside.list_file().open("a") as file:
        file.write("2:abc")
    assert told() == GOOD
    builders.happened(blanket, "noted", note="seen")
    call_command("seal_ledger", "--now")  # it begins a line of its own
    assert outside.newest().hash == Seal.objects.latest("number").hash
    assert told() == GOOD
