"""A walk round T-12 as a phone sends it."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

from django.utils import timezone

from gear.actions.acting import Act
from inspections.field.kinds import Sent
from inspections.field.walks import load_check
from inspections.models import Device, LoadCheck
from tests import builders

NOON = datetime(2026, 9, 14, 16, 0, tzinfo=UTC)


def truck(name="T-12"):
    return builders.holder("truck", name)


def ms(moment):
    return int(moment.timestamp() * 1000)


def piece(no, state="seen", verdict="good", through=None, **more):
    told = {"as_of_ms": ms(timezone.now()), "age_s": 30, "source": "phone"} if state != "not_seen" else {}
    return {
        "no": no,
        "code": no,
        "state": state,
        "verdict": verdict if state != "not_seen" else "",
        "reasons": [],
        "good_through": through.isoformat() if through else None,
        "taken": False,
        **told,
        **more,
    }


def body(*pieces, outcome="good", **more):
    now = timezone.now()
    stated = {
        "walk": str(uuid4()),
        "truck": "T-12",
        "started_ms": ms(now - timedelta(minutes=3)),
        "finished_ms": ms(now),
        "back_on": timezone.localdate().isoformat(),
        "crew": [],
        "list": None,
        "outcome": outcome,
        "data_as_of_ms": ms(now - timedelta(minutes=5)),
        "pieces": list(pieces),
        "short": [],
    }
    return {**stated, **more}


def tablet():
    known = {
        "kind": "shared",
        "digest": "d" * 64,
        "added_at": timezone.now(),
        "added_by": builders.person("clerk", "orla"),
    }
    return Device.objects.get_or_create(name="Tablet 1", defaults=known)[0]


def sent(stated, *, by, key=None):
    """The record as the sync hands it to its kind."""
    return Sent(key or uuid4(), "load_check", None, by, tablet(), timezone.now(), None, stated)


def walked(*pieces, by=None, key=None, **more):
    """A walk, sent and kept."""
    one = sent(body(*pieces, **more), by=by or builders.person("worker", "dev"), key=key)
    act = Act(one.person, "field", one.device.name, one.occurred_at, id=one.id)
    return LoadCheck.objects.get(pk=load_check(one, act)["load_check"])


def gear_of_twelve(count=3):
    """Blankets on T-12, tested today."""
    there = [builders.blanket(f"B-{number}", at=truck()) for number in range(1, count + 1)]
    builders.tested(*there)
    return there
