"""A failing database while a worker asks: the answer is the right one or `unknown`, and never a wrong `good`."""

import random
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection

from gear.actions import sightings
from gear.models import GivenAnswer
from gear.rules import codes
from tests import builders
from tests.faults.writing import FailNth

GOOD, STOP = (codes.new_code(random.Random(number)) for number in (21, 22))
MOST = 200  # statements of one answer; the loops below end far earlier


@pytest.fixture
def gear(db: None) -> None:
    cache.clear()
    today = builders.today()
    good = builders.blanket("B-1", label=GOOD)
    stop = builders.blanket("B-2", label=STOP)
    builders.tested(good, stop, on=today - timedelta(days=9))
    builders.happened(stop, "held", reason="odd smell")


def verdicts(client: Any, code: str) -> Iterator[str]:
    """The verdict shown for a code while the first, the second, ... statement fails, until none fails any more."""
    for number in range(1, MOST):
        fail = FailNth(number)
        with connection.execute_wrapper(fail):
            response = client.get(f"/t/{code}")
        assert response.status_code == 200
        page = response.content.decode()
        yield next(word for word in ("good", "stop", "unknown") if f'<div class="verdict {word}">' in page)
        if fail.count < number:
            return
    raise AssertionError("An answer takes too many statements.")


@pytest.mark.parametrize(("code", "right"), [(GOOD, "good"), (STOP, "stop")])
def test_whichever_statement_fails_the_answer_is_right_or_unknown(client, gear, code, right):
    told = list(verdicts(client, code))
    assert set(told) == {right, "unknown"}
    assert told[-1] == right
    assert told[0] == "unknown"  # a failing read is never made up for


@contextmanager
def somebody_else_writing() -> Iterator[None]:
    """Another connection that keeps the book to itself, as a long import or a seal does."""
    other = connection.copy()
    with other.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("BEGIN IMMEDIATE")
        else:
            cursor.execute("SELECT pg_advisory_lock(7350127)")
        try:
            yield
        finally:
            if connection.vendor == "sqlite":
                cursor.execute("ROLLBACK")
    other.close()


@pytest.mark.django_db(transaction=True)
def test_no_answer_waits_for_somebody_who_writes(client, gear, monkeypatch, caplog):
    monkeypatch.setattr(sightings, "PATIENCE_MS", 50)
    with somebody_else_writing():
        page = client.get(f"/t/{GOOD}").content.decode()
    assert '<div class="verdict good">' in page
    assert GivenAnswer.objects.count() == 0
    assert "could not be stored" in caplog.text
    client.get(f"/t/{GOOD}")
    assert GivenAnswer.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_usual_patience_is_back_after_an_answer(client, gear):
    def patience() -> Any:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout" if connection.vendor == "sqlite" else "SHOW lock_timeout")
            return cursor.fetchone()[0]

    usual = patience()
    client.get(f"/t/{GOOD}")
    assert patience() == usual
