"""This week: who promises what for which line; exceptions that are noted and closed; the register of what is lost."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from gear.models import Refusal
from reports.models import ExceptionEnd, ExceptionNote, Promise
from tests import builders
from tests.reports.harbour import MONDAY
from tests.reports.test_overdue_page import text_of

pytestmark = pytest.mark.django_db
WEDNESDAY = (MONDAY + timedelta(days=2)).isoformat()


def signed_in(person):
    client = Client()
    client.force_login(person)
    return client


def promised(client, *items, **told):
    known = {
        "id": uuid4(),
        "crew": "Crew 7",
        "items": items,
        "owner": "bertrand",
        "promised_on": WEDNESDAY,
        "note": "",
    }
    return client.post(reverse("promise"), {**known, **told})


def week(person):
    return text_of(signed_in(person).get(reverse("week")))


def test_the_week_tells_what_to_call_about_and_since_when(fleet):
    words = week(fleet.cast.ines)
    assert "3 items are overdue in people's hands. The oldest: 45 days over." in words
    assert "3 overdue in hands Last week 2. 2 of these are open still." in words
    assert "Call bertrand: 555-0107" in words
    assert "still open, since 1 AUG 2026" in words
    assert "new, since 11 SEP 2026" in words
    assert "%" not in words


def test_a_promise_for_the_ticked_lines_stands_on_week_report_and_files(fleet):
    ines = signed_in(fleet.cast.ines)
    pair = (fleet.left.item_no, fleet.right.item_no)
    assert promised(ines, *pair, note="brings both on Wednesday").status_code == 302
    assert promised(ines, "\x00", "B-\x00").status_code == 422  # nothing that a database could look up
    assert {row.item.item_no for row in Promise.objects.all()} == set(pair)
    assert week(fleet.cast.bertrand).count("bertrand, by 16 SEP 2026") == 2
    assert "brings both on Wednesday" in text_of(ines.get(reverse("overdue_report")))
    line = ines.get(reverse("overdue_report_json")).json()["loop"]["lines"][pair[0]]
    assert (line["owner"], line["promised_on"], line["broken"]) == ("bertrand", WEDNESDAY, False)
    assert "bertrand,2026-09-16" in ines.get(reverse("overdue_report_csv")).getvalue().decode()


def test_sent_twice_it_is_noted_once(fleet):
    ines, same = signed_in(fleet.cast.ines), uuid4()
    for _twice in range(2):
        assert promised(ines, "B-held", id=same).status_code == 302
    assert Promise.objects.count() == 1


def test_a_foreman_promises_for_his_crew_and_for_no_other(fleet):
    bertrand = signed_in(fleet.cast.bertrand)
    assert promised(bertrand, "B-held").status_code == 302
    refused = promised(bertrand, "B-held", "B-over_far")
    assert refused.status_code == 403
    assert "not with your own people" in text_of(refused)
    assert Promise.objects.count() == 1
    assert Refusal.objects.filter(act="promise").exists()


@pytest.mark.parametrize("who", ["dev", "halvard", "pim"])
def test_nobody_else_promises(fleet, who):
    assert promised(signed_in(getattr(fleet.cast, who)), "B-held").status_code == 403
    assert not Promise.objects.exists()


def test_the_auditor_reads_the_week_and_finds_no_form(fleet):
    page = signed_in(fleet.cast.halvard).get(reverse("week")).content.decode()
    assert "B-held" in page
    assert reverse("promise") not in page


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({"items": []}, "Tick at least one line."),
        ({"promised_on": "2026-09-13"}, "This day is past."),
        ({"promised_on": "2029-09-13"}, "more than a year away"),
        ({"owner": "halvard"}, "cannot close a line"),
        ({"owner": "nobody at all"}, "Nobody of this name"),
        ({"items": ["B-due_in_7"]}, "not open any more"),
        ({"items": ["B-over_on_shelf"]}, "not open any more"),
        ({"items": ["B-none"]}, "not open any more"),
        ({"crew": "Crew 99", "promised_on": ""}, "This field is required."),
    ],
)
def test_what_cannot_be_promised_is_refused_with_a_sentence(fleet, told, sentence):
    answer = promised(signed_in(fleet.cast.ines), "B-held", **told)
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    assert not Promise.objects.exists()


# Exceptions


def noted(client, **told):
    known = {
        "id": uuid4(),
        "name": "Storm week",
        "about": "truck",
        "subject": "T-12",
        "reason": "The lab is under water.",
        "ends_on": WEDNESDAY,
        "approved_by": "ines",
    }
    return client.post(reverse("exception_add"), {**known, **told})


def test_an_exception_is_noted_told_everywhere_and_ends_by_itself(fleet):
    ines = signed_in(fleet.cast.ines)
    before = ines.get(reverse("overdue_report_json")).json()
    assert noted(ines).status_code == 302
    after = ines.get(reverse("overdue_report_json")).json()
    assert after["loop"].pop("exceptions")[0]["name"] == "Storm week"
    before["loop"].pop("exceptions")
    assert after == before  # no verdict, no date, no count
    for name in ("week", "overdue_report", "exceptions"):
        words = text_of(signed_in(fleet.cast.bertrand).get(reverse(name)))
        assert "Storm week" in words
        assert "truck T-12" in words
    with time_machine.travel("2026-09-17T12:00:00+00:00", tick=False):
        assert "Storm week" not in week(fleet.cast.ines)
        assert "by itself, with its last day" in text_of(
            signed_in(fleet.cast.ines).get(reverse("exceptions"))
        )


def test_an_exception_is_closed_by_a_second_entry_once(fleet):
    ines = signed_in(fleet.cast.ines)
    noted(ines)
    address = reverse("exception_close", args=[ExceptionNote.objects.get().pk])
    assert ines.get(address).status_code == 200
    assert ines.post(address, {"id": uuid4(), "reason": "The lab works again."}).status_code == 302
    assert ExceptionEnd.objects.get().reason == "The lab works again."
    assert ines.post(address, {"id": uuid4(), "reason": "again"}).status_code == 422
    assert ines.get(address).status_code == 404
    assert "Storm week" not in week(fleet.cast.ines)


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({"name": ""}, "This field is required."),
        ({"reason": ""}, "This field is required."),
        ({"ends_on": ""}, "This field is required."),
        ({"ends_on": "2026-09-13"}, "This day is past."),
        ({"ends_on": "2028-09-13"}, "within a year"),
        ({"approved_by": "dev"}, "a supervisor or an administrator"),
        ({"subject": "T-99"}, "Nothing of this name is on record."),
        ({"about": "all"}, "Leave this empty."),
    ],
)
def test_an_exception_lacks_nothing(fleet, told, sentence):
    answer = noted(signed_in(fleet.cast.ines), **told)
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    assert not ExceptionNote.objects.exists()


def test_whoever_is_bound_to_a_depot_notes_nothing_beyond_it(fleet):
    fleet.cast.ines.depot = fleet.elsewhere
    fleet.cast.ines.save()
    assert noted(signed_in(fleet.cast.ines)).status_code == 403
    assert noted(signed_in(fleet.cast.ines), about="all", subject="").status_code == 403
    assert noted(signed_in(fleet.cast.ines), subject="T-19").status_code == 302
    assert ExceptionNote.objects.get().truck.name == "T-19"
    fleet.cast.ines.depot = fleet.cast.depot
    fleet.cast.ines.save()
    address = reverse("exception_close", args=[ExceptionNote.objects.get().pk])
    for answer in (signed_in(fleet.cast.ines).get(address), signed_in(fleet.cast.ines).post(address)):
        assert answer.status_code == 404  # as one that does not exist


@pytest.mark.parametrize("who", ["bertrand", "orla", "halvard", "pim"])
def test_only_a_supervisor_notes_exceptions(fleet, who):
    client = signed_in(getattr(fleet.cast, who))
    assert noted(client).status_code == 403
    assert reverse("exception_add") not in client.get(reverse("exceptions")).content.decode()


# Lost


def test_the_register_tells_what_is_lost_still_and_what_was_found(fleet):
    builders.happened(
        fleet.due_in_7, "lost", reason="storm", on=MONDAY - timedelta(days=9), by=fleet.cast.dev
    )
    builders.happened(fleet.due_in_7, "found", note="under the seat", on=MONDAY - timedelta(days=2))
    words = text_of(signed_in(fleet.cast.halvard).get(reverse("lost_register")))
    still, ended = re.split("Found again, or destroyed since: 1", words)
    assert "Lost still: 1" in still
    assert "B-lost" in still
    assert "B-due_in_7" not in still
    assert "Found again on 12 SEP 2026" in ended
    assert "under the seat" in ended
    assert "storm dev" in ended


def test_a_foreman_is_told_of_no_person_of_another_crew(fleet):
    stranger = builders.person("worker", "rasmusq", first_name="Rasmus", last_name="Quill")
    bertrand = signed_in(fleet.cast.bertrand)
    assert "rasmusq" not in bertrand.get(reverse("week")).content.decode()
    for typed in ("rasmusq", "Rasmus Quill"):
        answer = promised(bertrand, "B-held", owner=typed)
        assert answer.status_code == 422
        assert "Nobody of this name" in text_of(answer)
    assert not Promise.objects.filter(owner=stranger).exists()
