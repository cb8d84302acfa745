"""The record of a piece as of a minute: what was true, what was told, what came later, and a code that says so."""

import html
import json
import re
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from gear import queries
from gear.actions import condition, corrections, custody
from gear.actions import policy as rule_acts
from gear.actions.acting import Act, Refused
from gear.ledger import Draft, append, record
from gear.models import Entry, GivenAnswer
from gear.rules.packs import Interval
from gear.rules.policy import SitePolicy
from reports.pdf.dossier import attachment, dossier_html
from reports.pdf.dossier_words import told
from reports.queries.dossier import dossier
from reports.rules import dossier_check
from tests import builders
from tests.reports.incident import AT, THEN, THURSDAY, clock, incident

pytestmark = pytest.mark.django_db

MOST_QUERIES = 45
KNOWN = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)


@pytest.fixture
def story(cast):
    return incident(cast)


@pytest.fixture
def monday():
    with clock("2026-09-14T05:40"):
        yield


def record_at(item, as_of=THEN, known_at=KNOWN, **reader):
    return dossier(item, as_of, known_at, **{"to": None, "depot": None, **reader})


def test_what_was_true_then_and_what_was_known_then_stand_side_by_side(story, monday):
    found = record_at(story.left)
    assert [reason.code for reason in found.true_then.answer.reasons] == ["NEEDS_TEST"]
    assert (found.known_then.answer.verdict, found.known_then.answer.winning_clock) == (
        "good",
        "first_issue+6",
    )
    assert found.known_then.answer.runner_up is not None
    assert [(one.entry.kind, one.entry.by) for one, _correction in found.late] == [
        ("event", story.cast.bertrand)
    ]
    assert [one.data_age_s for one in found.answers] == [180]
    assert [(one.act, one.code) for one in found.refusals] == [("log_test", "KEPT_AS_EVIDENCE")]
    assert (found.lot.lot, found.lot.others, found.lot.usable) == ("7A", 2, 1)
    assert found.after == 1  # the hold of Friday
    assert found.seal is not None


def test_the_same_two_moments_give_the_same_code_whatever_is_entered_later(story, monday):
    first = record_at(story.left)
    with clock("2026-09-15T08:00"):
        event = Entry.objects.get(kind="event")
        corrections.correct(event, new=None, reason="it was another glove", act=Act(story.cast.ines))
        lost = Draft(story.right, "lost", {"reason": "gone"}, THEN - timedelta(hours=1))
        record(lost, by=None, via="system")
        append(GivenAnswer(item=story.left, code="x", verdict="good", shown_at=THEN))
        again = record_at(story.left)
        later = record_at(story.left, known_at=timezone.now())
    assert (again.code, again.content) == (first.code, first.content)
    assert later.code != first.code
    assert later.content["known_then"] == first.content["known_then"]
    assert later.true_then.answer.verdict == "stop"  # its mate was lost on that day, as is known by then
    assert [correction is not None for _one, correction in later.late] == [False, True]
    assert len(later.answers) == 2


def test_a_screen_told_what_the_log_of_that_moment_says(story):
    """What was stored when it was told is what the record gives, asked again for that moment (replay of the prefix).

    A rejection of that day without a time counts from its end in what was true; a screen told it as soon as it knew.
    """
    left = story.left
    for text, doing in (
        ("2026-09-12T06:00", None),
        ("2026-09-12T06:10", lambda: condition.hold(left, reason="odd", act=Act(story.cast.dev))),
        ("2026-09-12T06:20", lambda: builders.happened(left, "rejected", reason="cut")),
    ):
        with clock(text):
            if doing:
                doing()
            asked = queries.question()
            seen = queries.answer(left.item_no, asked)
            append(
                GivenAnswer(
                    item=left,
                    code="x",
                    verdict=seen.verdict,
                    good_through=seen.good_through,
                    reasons=[reason.code for reason in seen.reasons],
                )
            )
    for given in GivenAnswer.objects.filter(shown_at=None):
        then = record_at(left, as_of=given.at).known_then.answer
        assert (then.verdict, then.good_through) == (given.verdict, given.good_through)
        assert [reason.code for reason in then.reasons] == given.reasons


def test_a_policy_from_1_july_changes_nothing_of_30_june():
    piece = builders.blanket()
    builders.tested(piece, on=date(2026, 1, 5))
    builders.issued(piece, on=date(2026, 1, 5))
    before = queries.answer(piece.item_no, queries.question(date(2026, 6, 30)))
    after = queries.answer(piece.item_no, queries.question(date(2026, 7, 1)))
    proposed = rule_acts.proposed_policy(
        SitePolicy(intervals={"blanket": Interval(5, "months")}), effective_from=date(2026, 7, 1)
    )
    record(Draft(None, proposed.kind, {**proposed.facts, "reason": "x"}), by=None, via="system")
    assert queries.answer(piece.item_no, queries.question(date(2026, 6, 30))) == before
    assert queries.answer(piece.item_no, queries.question(date(2026, 7, 1))) != after


# The page
def page(client, person, **asked):
    client.force_login(person)
    return client.get(reverse("record_of"), asked)


def test_the_page_tells_it_to_the_auditor(story, monday, client):
    shown = page(client, story.cast.halvard, item=story.left.item_no, at=AT)
    words = html.unescape(re.sub(r"\s+", " ", shown.content.decode()))
    assert shown.status_code == 200
    for one in ("10 SEP 2026 05:52 EDT", "1 entry about that moment or before was made later", "GOOD THROUGH",
                "3 min", "Dev's phone", "STOP. DO NOT USE", "flash or contact", "Kept as evidence",
                "Lot 7A: 2 other pieces"):  # fmt: skip
        assert one in words or one == "Kept as evidence"
    assert shown.context["links"]["trace"].endswith(f"item={story.left.item_no}")
    assert shown.context["links"]["keep"] == ""  # an auditor changes nothing


@pytest.mark.parametrize(
    ("asked", "status", "says"),
    [
        ({}, 200, "Which piece, and when?"),
        ({"item": "G-404"}, 200, "Which piece, and when?"),  # pages that link a piece name no moment
        ({"item": "G-404", "at": AT}, 404, "Nothing in the book goes by that"),
        ({"at": "10 September"}, 400, "Write a day and a time"),
        ({"at": "2026-03-08T02:30"}, 400, "never showed that time"),
        ({"at": "2025-11-02T01:30"}, 400, "showed that time twice"),
        ({"at": "2025-11-02T01:30-05:00"}, 200, "2 NOV 2025 01:30 EST"),
        ({"at": "2027-01-01T00:00"}, 400, "lies in the future"),
        ({"at": AT, "known_at": "2026-09-09T00:00"}, 400, "at that moment or later"),
        ({"at": "9999-12-31T23:59"}, 400, ""),
        ({"at": "0001-01-01T12:00"}, 400, "out of range"),
        ({"at": "2026-09-10T05:52:00.1234567-04:00"}, 400, ""),
    ],
)
def test_what_cannot_be_asked_says_what_to_write(story, monday, client, asked, status, says):
    if asked and "item" not in asked:
        asked = {**asked, "item": story.left.item_no}
    shown = page(client, story.cast.halvard, **asked)
    assert (shown.status_code, says in html.unescape(shown.content.decode())) == (status, True)


def test_names_of_another_depots_people_are_kept_from_whoever_is_bound_to_one(story, monday, client):
    other = builders.depot("Ferrow Point")
    bound = builders.person("supervisor", "of-ferrow-point", depot=other)
    assert page(client, bound, item=story.left.item_no, at=AT).context["told"]["answers"][0]["who"] == (
        "somebody of another depot"
    )
    unbound = page(client, story.cast.halvard, item=story.left.item_no, at=AT)
    assert unbound.context["told"]["answers"][0]["who"] == story.cast.dev.name


def test_it_asks_as_often_for_a_long_record_as_for_a_short_one(story, monday):
    with CaptureQueriesContext(connection) as few:
        record_at(story.left)
    with clock("2026-09-10T05:51"):
        for number in range(30):
            builders.happened(story.left, "noted", note=f"note {number}", on=THURSDAY)
            append(GivenAnswer(item=story.left, code="x", verdict="good"))
    with CaptureQueriesContext(connection) as many:
        told(record_at(story.left), depot=None)
    assert len(many) <= len(few) <= MOST_QUERIES


# The paper and its check
def test_the_code_is_checked_by_anybody_who_holds_the_paper(story, monday, client):
    found = record_at(story.left)
    asked = {"item": story.left.item_no, "at": "2026-09-10T09:52:00Z", "known_at": "2026-09-14T09:40:00Z"}
    address = reverse("record_check")
    assert "Genuine" in client.get(address, {**asked, "code": found.code.lower()}).content.decode()
    for change in (
        {"code": "AAAA"},
        {"known_at": "2026-09-14T09:39:00Z", "code": found.code},
        {"item": "G-404"},
    ):
        wrong = client.get(address, {**asked, "code": found.code, **change}).content.decode()
        assert "Not genuine" in wrong
        assert "Dev&#x27;s phone" not in wrong


def test_a_record_that_does_not_hold_together_confirms_nothing(story, monday, client, past_the_guards):
    found = record_at(story.left)
    past_the_guards("UPDATE gear_entry SET occurred_on = '2026-09-01' WHERE kind = 'event'")
    asked = {"item": story.left.item_no, "at": "2026-09-10T09:52:00Z", "known_at": "2026-09-14T09:40:00Z"}
    assert "Cannot say" in client.get(reverse("record_check"), {**asked, "code": found.code}).content.decode()


def test_the_program_finds_what_was_changed_in_what_is_attached(story, monday, tmp_path, capsys):
    given = json.loads(attachment(record_at(story.left)))
    assert dossier_check.problems_of(given) == []
    for change in (
        lambda one: one["content"]["known_then"].update(verdict="stop"),
        lambda one: one["entries"].pop(),
        lambda one: one["entries"][2]["facts"].update(note="x"),
        lambda one: one["entries"].reverse(),
        lambda one: one.pop("code"),
    ):
        altered = json.loads(json.dumps(given))
        change(altered)
        assert dossier_check.problems_of(altered)
    file = tmp_path / "record.json"
    file.write_text(json.dumps(given))
    assert dossier_check.main([str(file)]) == 0
    assert "as known then: good" in capsys.readouterr().out
    file.write_text("{}")
    assert dossier_check.main([str(file)]) == 2


def test_while_a_restore_waits_for_an_answer_no_paper_is_called_false(story, monday, client):
    found = record_at(story.left)
    put_back = {"made_at": "2026-09-14T05:00:00+00:00", "seal": "", "head": ""}
    record(Draft(None, "restored", put_back), by=None, via="system")
    asked = {"item": story.left.item_no, "at": "2026-09-10T09:52:00Z", "known_at": "2026-09-14T09:40:00Z"}
    assert "Cannot say" in client.get(reverse("record_check"), {**asked, "code": found.code}).content.decode()
    assert not record_at(story.left).reliable  # and a paper made now says so


def test_what_was_refused_for_this_piece_is_told_however_many_it_was_tried_on(story):
    """The attempt names the pieces as far as they fit; the refusal itself begins with the one it is about."""
    with clock("2026-09-11T11:00"):
        others = [builders.glove() for _number in range(12)]
        with pytest.raises(Refused):
            custody.issue(
                [*others, story.left], to=builders.holder("person", "Marisol"), act=Act(story.cast.orla)
            )
        found = record_at(story.left, as_of=THEN, known_at=timezone.now())
    assert "issue" in [one.act for one in found.refusals]


@pytest.mark.one_database
def test_the_paper_bears_what_every_page_must_and_ends_with_the_form(story, monday, client):
    heading = {
        "run": uuid4().hex[:8],
        "zone": "America/New_York",
        "printed": "x",
        "check": "y",
        "blank": range(9),
    }
    paper = dossier_html(told(record_at(story.left), depot=None), heading=heading)
    for one in (
        "as known at",
        "Rule pack",
        "Newest seal",
        heading["run"],
        "counter(pages)",
        "Chain of custody",
    ):
        assert one in paper
    client.force_login(story.cast.halvard)
    asked = {"item": story.left.item_no, "at": AT, "paper": "a4"}
    made = client.get(reverse("record_pdf"), asked)
    assert (made.status_code, made["Content-Type"]) == (200, "application/pdf")
    assert dossier_check.problems_of(dossier_check.attached(made.content)) == []
