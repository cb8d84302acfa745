"""Tablets that fell silent, records that wait on them, and the guards of bench sessions, on the page Health."""

from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.utils import timezone

from gear.ledger import Draft, record
from gear.queries.health import AMBER, RED, WELL
from inspections import guards
from inspections.models import Device
from inspections.queries.watching import check_bench_guards, check_devices, check_phones_after_restore

pytestmark = pytest.mark.django_db
NOW = timezone.now()


def device(cast, name, *, kind="shared", heard=timedelta(), **columns):
    owner = {"person": cast.dev} if kind == "own" else {"depot": cast.depot}
    at = NOW - heard
    known = {"added_at": at, "enrolled_at": at, "last_seen_at": at, "last_sync_at": at, "added_by": cast.orla}
    return Device.objects.create(name=name, kind=kind, **{**known, **owner, **columns})


def found():
    return {one.code: (one.level, one.sentence) for one in check_devices(NOW)}


def test_a_tablet_is_told_with_its_last_sync_and_what_it_has_not_sent(cast):
    device(cast, "Tablet 1", heard=timedelta(hours=1), unsent=2)
    (level, sentence) = found()["DEVICES"]
    at = timezone.localtime(NOW - timedelta(hours=1))
    assert level == WELL
    assert f"Tablet 1 ({at:%Y-%m-%d %H:%M}, 2 unsent)" in sentence


def test_silence_is_worth_knowing_and_red_once_records_wait(cast):
    quiet = device(cast, "Tablet 1", heard=timedelta(days=3, minutes=1))
    assert found()["DEVICE_SILENT"][0] == AMBER
    Device.objects.filter(pk=quiet.pk).update(unsent=1)
    assert set(found()) == {"DEVICE_UNSENT"}
    assert found()["DEVICE_UNSENT"][0] == RED
    Device.objects.filter(pk=quiet.pk).update(revoked_at=NOW, revoked_by=cast.orla)
    assert found() == {"DEVICES": (WELL, "None is in use.")}


def test_a_persons_phone_at_home_is_no_matter_unless_records_wait_on_it(cast):
    phone = device(cast, "Dev's phone", kind="own", heard=timedelta(days=20))
    assert set(found()) == {"DEVICES"}
    Device.objects.filter(pk=phone.pk).update(unsent=3)
    assert "Dev's phone" in found()["DEVICE_UNSENT"][1]


def test_after_a_restore_it_names_who_has_not_come_back(cast, django_assert_num_queries):
    def told():
        return [(one.code, one.level, one.sentence) for one in check_phones_after_restore(timezone.now())]

    for number in range(3):
        device(cast, f"Tablet {number}", heard=timedelta(hours=number))
    gone = device(cast, "Tablet revoked", heard=timedelta(days=1), revoked_at=NOW, revoked_by=cast.orla)
    assert told() == []
    record(
        Draft(None, "restored", {"made_at": NOW.isoformat(), "seal": "", "head": ""}), by=None, via="system"
    )
    Device.objects.filter(name="Tablet 0").update(last_seen_at=timezone.now())
    with django_assert_num_queries(2):
        (code, level, sentence) = told()[0]
    assert (code, level) == ("PHONES_NOT_BACK", AMBER)
    assert "Tablet 1" in sentence
    assert "Tablet 2" in sentence
    assert "Tablet 0" not in sentence
    assert gone.name not in sentence
    Device.objects.update(last_seen_at=timezone.now())
    assert [code for code, _level, _sentence in told()] == ["PHONES_BACK"]
    with time_machine.travel(timezone.now() + timedelta(days=31)):
        assert told() == [], "phones have let go by then"


def test_it_asks_one_question_however_many_there_are(cast, django_assert_num_queries):
    for number in range(30):
        device(cast, f"Tablet {number}")
    with django_assert_num_queries(1):
        assert "and 18 more" in found()["DEVICES"][1]


def test_a_guard_of_bench_sessions_that_is_gone_is_red():
    assert list(check_bench_guards(NOW)) == []
    name = "benchrow_closed_stays"
    with connection.cursor() as cursor:
        on = " ON inspections_benchrow" if connection.vendor == "postgresql" else ""
        cursor.execute(f"DROP TRIGGER {name}{on}")
    (one,) = check_bench_guards(NOW)
    assert (one.level, one.bars, name in one.sentence) == (RED, True, True)
    guards.install(connection)
    assert list(check_bench_guards(NOW)) == []
