"""What is rejected and waits, its red tags, the certificate of destruction, and scrapped pieces that turn up."""

import random
import subprocess
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear.actions import condition, custody
from gear.actions.acting import Act, Refused
from gear.actions.destruction import destroy_batch
from gear.actions.sightings import acknowledge
from gear.ledger import append
from gear.models import GivenAnswer, Refusal, SightingNote
from gear.permissions import NotAllowed
from gear.queries.sightings import open_sightings
from gear.rules import codes
from tests import builders
from tests.gear.act_forms import told
from tests.gear.policy_pages import signed_in

pytestmark = pytest.mark.django_db
CODE = codes.new_code(random.Random(8))


@pytest.fixture
def orla(cast):
    return signed_in(cast.orla)


@pytest.fixture
def failed(cast):
    """A glove that failed its test, in Dev's hands."""
    glove = builders.glove("G-5", serial="SN-5")
    builders.issued(glove, to=builders.holder("person", "Dev"), on=builders.today() - timedelta(days=9))
    builders.tested(
        glove,
        on=builders.today() - timedelta(days=3),
        outcome="failed",
        codes=[{"code": "CURRENT_ABOVE_LIMIT"}],
        readings={"applied_v": 20000, "seconds": 60, "leakage_ma": "18.6", "visual": "accept"},
        limit={"limit_ma": {"value": "16", "source": "29 CFR 1910.137", "clause": "Table I-2"}},
        by=cast.orla,
    )
    return glove


@pytest.fixture
def cut(cast):
    blanket = builders.blanket("B-5")
    facts = {"outcome": "reject", "scope": "pre_use", "words": ["cut"], "place": "face_a:square_6"}
    builders.happened(blanket, "inspected", by=cast.marisol, **facts)
    return blanket


def text_of(pdf, tmp_path, *options):
    path = tmp_path / "paper.pdf"
    path.write_bytes(pdf)
    return subprocess.run(
        ["pdftotext", "-layout", *options, str(path), "-"], capture_output=True, text=True, check=True
    ).stdout


def test_the_list_says_why_since_when_and_in_whose_hands(orla, failed, cut):
    page = orla.get("/rejects/").content.decode()
    assert page.index("G-5") < page.index("B-5")  # the longest waiting first
    for words in ("Failed its test: current above the limit", "in somebody&#x27;s hands", "3 days"):
        assert words in page or words.replace("&#x27;", "'") in page
    assert "square 6 (face A, with the marking)" in page


def test_what_was_destroyed_or_is_whole_is_not_in_the_list(orla, cut):
    builders.happened(cut, "destroyed", reason="cut up", witness="dev")
    builders.blanket("B-6")
    page = orla.get("/rejects/").content.decode()
    assert "Nothing is rejected and waiting" in page
    assert "B-6" not in page


def test_the_list_takes_as_many_queries_for_one_piece_as_for_many(orla, cut):
    orla.get("/rejects/")
    with CaptureQueriesContext(connection) as one:
        orla.get("/rejects/")
    for _more in range(6):
        builders.happened(builders.blanket(), "rejected", reason="cut")
    with CaptureQueriesContext(connection) as many:
        orla.get("/rejects/")
    assert len(many) == len(one)


def test_the_auditor_reads_and_cannot_destroy(cast, cut):
    page = signed_in(cast.halvard).get("/rejects/").content.decode()
    assert "B-5" in page
    assert "Destroy what is ticked" not in page


# Paper


@pytest.mark.parametrize(("paper", "size"), [("letter", "(letter)"), ("a4", "(A4)")])
def test_a_red_tag_says_all_in_words(orla, failed, cut, tmp_path, paper, size):
    answer = orla.get("/rejects/red-tags.pdf", {"paper": paper})
    assert answer["Content-Type"] == "application/pdf"
    text = text_of(answer.content, tmp_path)
    for words in (
        "REJECTED",
        "NEVER USE AGAIN",
        "G-5",
        "SN-5",
        "class 2",
        "18.6 mA",
        "16 mA",
        "square 6",
        "Marisol",
        "Page 1 of 1",
    ):
        assert words.casefold() in text.casefold(), words
    assert "kV" not in text  # a proof voltage on a tag could be taken for a working voltage
    info = subprocess.run(
        ["pdfinfo", str(tmp_path / "paper.pdf")], capture_output=True, text=True, check=True
    )
    assert size in info.stdout
    images = subprocess.run(
        ["pdfimages", "-list", str(tmp_path / "paper.pdf")], capture_output=True, text=True, check=True
    )
    assert (
        len(images.stdout.splitlines()) == 2
    )  # the heading alone: no square that could pass for a good label


def test_tags_are_made_of_rejected_pieces_alone(orla, failed, cut, tmp_path):
    builders.blanket("B-6")
    text = text_of(orla.get("/rejects/red-tags.pdf", {"item": ["B-5", "B-6"]}).content, tmp_path)
    assert "B-5" in text
    assert "B-6" not in text
    assert "G-5" not in text


@pytest.mark.parametrize("asked", [{"paper": "a3"}, {"item": "B-6"}])
def test_tags_that_cannot_be_made_are_told_on_the_list(orla, cut, asked):
    answer = orla.get("/rejects/red-tags.pdf", asked)
    assert answer.status_code == 400
    assert 'role="alert"' in answer.content.decode()


def test_the_certificate_names_both_people_all_pieces_and_the_same_line_as_the_page(
    orla, cast, cut, tmp_path
):
    batch = destroy_batch(
        [cut], witness=cast.dev, secret="dev keeps a secret", reason="cut in four", act=Act(cast.orla)
    )
    page = orla.get(f"/rejects/destroyed/{batch.number}/").content.decode()
    line = page.partition("<code>")[2].partition("</code>")[0]
    for paper in ("letter", "a4"):
        answer = orla.get(f"/rejects/destroyed/{batch.number}/certificate.pdf", {"paper": paper})
        text = text_of(answer.content, tmp_path)
        for words in ("D-0001", "B-5", "orla", "dev", "cut in four", line, "Page 1 of 1"):
            assert words in text, words
    assert orla.get(f"/rejects/destroyed/{batch.number}/certificate.pdf", {"paper": "a3"}).status_code == 400
    assert orla.get("/rejects/destroyed/99/").status_code == 404


# Scrapped pieces that turn up


@pytest.fixture
def ghost(cast):
    blanket = builders.blanket("B-7", label=CODE)
    builders.happened(blanket, "rejected", reason="cut")
    builders.happened(blanket, "destroyed", reason="cut up", witness="dev")
    return blanket


def seen_by(item, verdict="stop", reasons=("DESTROYED",), by=None):
    answer = GivenAnswer(item=item, by=by, code="X", verdict=verdict, reasons=list(reasons))
    append(answer)
    return answer


def test_a_scan_of_a_destroyed_piece_stands_on_the_home_page_of_the_supervisor(cast, ghost):
    for name in ("dev", "marisol"):
        assert "SCRAPPED ITEM" in signed_in(getattr(cast, name)).get(f"/t/{CODE}/").content.decode()
    home = signed_in(cast.ines).get("/").content.decode()
    assert "1 scrapped piece was scanned this week" in home
    for name in ("dev", "orla", "halvard"):
        assert "scrapped piece was scanned" not in signed_in(getattr(cast, name)).get("/").content.decode()
    page = signed_in(cast.ines).get("/rejects/turned-up/").content.decode()
    assert page.index(": marisol") < page.index(": dev")  # the newest first
    assert "Recorded as destroyed" in page


def test_a_rejected_piece_counts_only_while_it_is_in_somebodys_hands(cast, failed, cut):
    seen_by(failed, reasons=("FAILED_TEST",), by=cast.dev)
    seen_by(cut, reasons=("DAMAGED",), by=cast.orla)  # on its shelf
    assert [(one.item, one.destroyed) for one in open_sightings()] == [(failed, False)]


def test_what_was_told_before_it_was_scrapped_is_no_sighting(cast, ghost):
    seen_by(ghost, verdict="good", reasons=())
    assert open_sightings() == []


def test_a_note_with_a_name_closes_what_is_open_and_stays(cast, ghost):
    seen_by(ghost, by=cast.dev)
    ines = signed_in(cast.ines)
    page = ines.get("/rejects/turned-up/B-7/").content.decode()
    sent = {
        "id": page.partition('name="id" value="')[2][:36],
        "text": "half of it lay in the bin of T-03; burned",
    }
    answer = ines.post("/rejects/turned-up/B-7/", sent)
    assert (answer.status_code, answer.url) == (302, "/rejects/turned-up/")
    assert "your note stands" in told(answer)[0]
    assert ines.post("/rejects/turned-up/B-7/", sent).status_code == 302  # sent twice, noted once
    note = SightingNote.objects.get()
    assert (note.entry.kind, note.entry.by, note.entry.item) == ("noted", cast.ines, ghost)
    assert open_sightings() == []
    page = ines.get("/rejects/turned-up/").content.decode()
    assert "burned" in page
    assert "None is open" in page
    assert "was scanned this week" not in ines.get("/").content.decode()
    seen_by(ghost, by=cast.dev)  # and again
    assert len(open_sightings()[0].answers) == 1


@pytest.mark.parametrize("name", ["dev", "orla", "halvard", "pim"])
def test_only_the_supervisor_notes_what_came_of_it(cast, ghost, name):
    seen_by(ghost)
    with pytest.raises(NotAllowed):
        acknowledge(ghost, text="burned", act=Act(getattr(cast, name)))
    assert not SightingNote.objects.exists()


def test_where_nothing_is_open_nothing_is_noted(cast, ghost):
    with pytest.raises(Refused, match="looked into this already"):
        acknowledge(ghost, text="burned", act=Act(cast.ines))
    assert Refusal.objects.get().code == "NOTHING_OPEN"
    assert signed_in(cast.ines).get("/rejects/turned-up/B-7/").status_code == 404


def test_the_sightings_take_as_many_queries_for_one_piece_as_for_many(cast, ghost):
    ines = signed_in(cast.ines)
    seen_by(ghost, by=cast.dev)
    ines.get("/rejects/turned-up/")
    with CaptureQueriesContext(connection) as one:
        ines.get("/rejects/turned-up/")
    for _more in range(5):
        other = builders.blanket()
        builders.happened(other, "destroyed", reason="cut up", witness="dev")
        seen_by(other, by=cast.marisol)
    with CaptureQueriesContext(connection) as many:
        ines.get("/rejects/turned-up/")
    assert len(many) == len(one)


def test_an_act_that_is_tried_on_a_scrapped_piece_counts_as_its_turning_up(cast, ghost):
    whole = builders.blanket("B-8")
    with pytest.raises(Refused, match="was destroyed"):
        custody.move([whole, ghost], to=builders.holder("truck", "T-12"), act=Act(cast.dev))
    (found,) = open_sightings()
    assert (found.item, found.destroyed, found.newest.by) == (ghost, True, cast.dev)


def test_a_program_that_tries_it_has_no_piece_before_it(cast, ghost):
    with pytest.raises(Refused):
        condition.hold(ghost, reason="x", act=Act(None, "import"))
    assert open_sightings() == []
