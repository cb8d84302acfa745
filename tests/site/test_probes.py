"""/healthz and /readyz: codes for programs that watch, each cause for itself, and nothing for anybody else."""

import shutil
from collections import namedtuple
from contextlib import contextmanager
from datetime import timedelta

import pytest
import time_machine
from django.db import OperationalError, connection, transaction
from django.test import Client
from django.utils import timezone

from gear import guards
from gear.ledger.rulebook import Rules
from gear.models import User
from gear.queries import health
from gear.queries.installation import database, machine
from gear.rules.policy import SitePolicy
from tests import builders

pytestmark = [pytest.mark.django_db, pytest.mark.looks_after_itself]
Usage = namedtuple("Usage", "total used free")
FIRST, LATER = ("gear", "0001_initial"), ("gear", "9000_later")
ROOMY = Usage(500 * machine.GIGABYTE, 100 * machine.GIGABYTE, 400 * machine.GIGABYTE)


@pytest.fixture(autouse=True)
def room_on_the_disk(monkeypatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda _folder: ROOMY)
    monkeypatch.setattr(machine, "kernel_says_unsynchronised", lambda: False)
    health.forget()
    yield
    health.forget()


def asked(client=None):
    answer = (client or Client(raise_request_exception=False)).get("/readyz")
    return answer.status_code, answer.json()["codes"]


def refuses(part, error):
    """Every statement with this part fails as the database would let it fail."""

    def run(execute, sql, params, many, context):
        if part in sql:
            raise error
        return execute(sql, params, many, context)

    return connection.execute_wrapper(run)


@contextmanager
def dropped_trigger(name="gear_entry_no_update"):
    with connection.cursor() as cursor:
        on = ' ON "gear_entry"' if connection.vendor == "postgresql" else ""
        cursor.execute(f'DROP TRIGGER "{name}"{on}')
    yield
    guards.install(connection)


@contextmanager
def apart(monkeypatch, *, shipped, applied):
    """Another release than the one that made the tables."""
    with monkeypatch.context() as patch:
        patch.setattr(database, "_shipped", lambda: frozenset(shipped))
        patch.setattr(database.MigrationRecorder, "applied_migrations", lambda _self: dict.fromkeys(applied))
        yield


@contextmanager
def free(bytes_, of=ROOMY.total):
    usual = shutil.disk_usage
    shutil.disk_usage = lambda _folder: Usage(of, of - bytes_, bytes_)
    yield
    shutil.disk_usage = usual


@contextmanager
def refused_rules(monkeypatch):
    with monkeypatch.context() as patch:
        refused = Rules(None, SitePolicy(), "a pack that is not the one adopted")
        patch.setattr("gear.queries.installation.record.rules_on", lambda _day: refused)
        yield


def test_a_sound_installation_is_ready(cast):
    assert asked() == (200, [])


CAUSES = {
    "DATABASE_UNREACHABLE": lambda _: refuses("SELECT 1", OperationalError("could not connect to server")),
    "DATABASE_NOT_WRITABLE": lambda _: refuses(
        "sign_in_attempts", OperationalError("database or disk is full")
    ),
    "MIGRATIONS_MISSING": lambda patch: apart(patch, shipped={FIRST, LATER}, applied={FIRST}),
    "MIGRATIONS_AHEAD": lambda patch: apart(patch, shipped={FIRST}, applied={FIRST, LATER}),
    "TRIGGERS_MISSING": lambda _: dropped_trigger(),
    "CLOCK_BEHIND": lambda _: time_machine.travel(timezone.now() - timedelta(minutes=6), tick=False),
    "RULES_REFUSED": refused_rules,
}


@pytest.mark.parametrize("code", CAUSES)
def test_each_cause_makes_it_not_ready_and_mending_it_ready_again(code, cast, monkeypatch):
    builders.glove("G-00001")
    with CAUSES[code](monkeypatch):
        answer = Client().get("/readyz")
        assert (answer.status_code, answer.json()) == (503, {"ready": False, "codes": [code], "well": False})
        assert answer.headers["Retry-After"] == "10"
    health.forget()
    assert asked() == (200, [])


@pytest.mark.parametrize(
    ("bytes_", "of", "codes"),
    [
        (machine.GIGABYTE, 10 * machine.GIGABYTE, []),
        (machine.GIGABYTE - 1, 5 * machine.GIGABYTE, ["DISK_LOW"]),
        (50 * machine.GIGABYTE, ROOMY.total, []),
        (50 * machine.GIGABYTE - 1, ROOMY.total, ["DISK_LOW"]),
    ],
)
def test_a_disk_with_less_than_a_tenth_or_a_gigabyte_free_is_not_ready(bytes_, of, codes, cast):
    with free(bytes_, of):
        assert asked() == (503 if codes else 200, codes)


@pytest.mark.django_db(transaction=True)  # a full disk undoes the whole transaction on SQLite
def test_a_database_that_may_not_grow_is_told_by_the_trial_row():
    if connection.vendor != "sqlite":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET LOCAL transaction_read_only = on")
            assert "read-only" in database.why_not_writable()
        return
    with connection.cursor() as cursor:
        pages, unused = (
            cursor.execute(f"PRAGMA {what}").fetchone()[0] for what in ("page_count", "freelist_count")
        )
        cursor.execute(f"PRAGMA max_page_count = {pages}")
    try:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(database, "PROBE_BYTES", (unused + 20) * 65536)
            assert "full" in database.why_not_writable()
    finally:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA max_page_count = 1073741823")
    assert database.why_not_writable() == ""


def test_the_trial_row_is_never_kept(cast):
    assert database.why_not_writable() == ""
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM sign_in_attempts WHERE cache_key LIKE 'probe:%%'")
        assert cursor.fetchone()[0] == 0


def test_whoever_hammers_it_costs_one_look(cast, django_assert_num_queries):
    asked()
    with django_assert_num_queries(0):
        assert [asked() for _once in range(20)] == [(200, [])] * 20


def test_it_says_codes_and_no_name_path_or_secret(cast, settings):
    User.objects.all().update(is_active=False)  # red, but no reason to stop answering
    answer = Client().get("/readyz")
    assert answer.status_code == 200
    assert answer.json() == {"ready": True, "codes": [], "well": False}
    assert answer.headers["Cache-Control"] == "no-store"


def test_alive_asks_nothing_of_the_database_even_with_a_session(cast, django_assert_num_queries):
    client = Client()
    client.force_login(cast.ines)
    with django_assert_num_queries(0):
        answer = client.get("/healthz")
    assert (answer.status_code, answer.json()) == (200, {"alive": True})


def test_a_watcher_on_the_machine_itself_is_not_sent_to_https(cast, settings):
    settings.SECURE_SSL_REDIRECT = True
    assert [Client().get(path).status_code for path in ("/healthz", "/readyz", "/login/")] == [200, 200, 301]
