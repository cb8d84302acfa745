"""What breaks says so: nothing confirmed is lost, no answer is never a yes, and no line of the log can be forged."""

import json
import logging
import sqlite3

import pytest
from django.db import DatabaseError, OperationalError
from django.http import Http404
from django.test import Client

from gear.site import errors
from gear.site.logs import OneLineJson


@pytest.fixture
def broken(monkeypatch):
    def by(problem):
        def fail():
            raise problem

        monkeypatch.setattr("gear.site.sign_in._demo_people", fail)
        return Client(raise_request_exception=False).get("/login/")

    return by


pytestmark = pytest.mark.django_db


def test_a_database_that_does_not_answer_is_told_to_come_back(broken):
    answer = broken(OperationalError("database or disk is full"))
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "10")
    assert "disk is full" not in answer.content.decode()


@pytest.mark.parametrize(("code", "status"), [(11, 503), (26, 503), (523, 503), (1, 500)])
def test_a_damaged_file_is_no_fault_of_the_request(broken, code, status):
    problem = DatabaseError("database disk image is malformed")
    problem.__cause__ = sqlite3.DatabaseError()
    problem.__cause__.sqlite_errorcode = code
    assert broken(problem).status_code == status


@pytest.mark.parametrize("problem", [OperationalError("no"), ValueError("no"), KeyError("no")])
def test_a_broken_page_shows_unknown_and_names_what_is_kept(broken, problem):
    page = broken(problem).content.decode()
    assert 'class="verdict unknown"' in page
    assert 'class="verdict good"' not in page
    assert "nothing of it is lost" in page


def test_the_page_of_a_broken_database_asks_it_nothing(broken, django_assert_num_queries):
    with django_assert_num_queries(0):
        broken(OperationalError("gone"))


def test_a_form_that_is_too_old_is_told_in_words(cast):
    answer = Client(enforce_csrf_checks=True).post("/login/", {"username": "orla", "password": "x"})
    assert answer.status_code == 403
    assert "This form is too old" in answer.content.decode()
    assert "was not recorded" in answer.content.decode()


def test_the_api_answers_in_its_own_shape(client):
    answer = client.get("/api/v1/nothing/")
    assert answer.status_code == 404
    assert answer.json() == {"error": {"code": "not_found", "message": "No such page", "fields": {}}}


def test_a_sentence_of_the_view_is_shown_and_escaped(rf):
    page = errors.not_found(rf.get("/x/"), Http404("No item <b>G-1</b>."))
    assert "No item &lt;b&gt;G-1&lt;/b&gt;." in page.content.decode()


def test_the_notes_of_the_router_are_not_shown(client):
    assert "resolver" not in client.get("/nothing/here/").content.decode()


@pytest.mark.parametrize(
    "typed", ["a\nlevel: INFO", "a\r\nb", "a\x1b[31mb", "a\u2028b", "a\u202eb", "a\x00b", '"}\n{"']
)
def test_no_input_can_forge_a_line_of_the_log(typed):
    record = logging.LogRecord("gear", logging.WARNING, "x.py", 1, "account %s", (typed,), None)
    line = OneLineJson().format(record)
    assert line.isascii()
    assert line.isprintable()
    assert json.loads(line)["message"] == f"account {typed}"
