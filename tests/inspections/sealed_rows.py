"""One row for each sealed table of inspections, ready to be stored."""

from uuid import uuid4

from django.utils import timezone

from inspections.models import JobCheck, LoadCheck, LoadList, TruckClass, TruckFitting, TruckRecord
from tests import builders


def load_list(**columns):
    made = TruckClass.objects.get_or_create(name="Bucket truck")[0]
    lines = [{"kind": "blanket", "count": 2, "least": "2", "size": "", "length_mm": None}]
    known = {"truck_class": made, "version": 1, "lines": lines, "by": builders.person("clerk", "orla")}
    return LoadList(**{**known, **columns})


def fitting(**columns):
    known = {
        "truck": builders.holder("truck", "T-12"),
        "truck_class": None,
        "by": builders.person("clerk", "orla"),
    }
    return TruckFitting(**{**known, **columns})


def load_check(**columns):
    now = timezone.now()
    known = {
        "id": uuid4(),
        "by": builders.person("worker", "dev"),
        "truck": builders.holder("truck", "T-12"),
        "started_at": now,
        "finished_at": now,
        "back_on": now.date(),
        "outcome": "unknown",
        "told_outcome": "unknown",
        "expected": 1,
        "seen": 1,
        "blocked": 0,
        "strays": 0,
    }
    return LoadCheck(**{**known, **columns})


def job_check(**columns):
    known = {
        "by": builders.person("worker", "dev"),
        "truck": builders.holder("truck", "T-12"),
        "as_of": builders.today(),
        "back_by": builders.today(),
        "asked": {"v": 1, "job": {}, "crew": [], "left_out": []},
        "findings": [],
        "verdict": "unknown",
        "rule_pack": builders.PACK,
    }
    return JobCheck(**{**known, **columns})


def truck_record(**columns):
    known = {
        "by": builders.person("clerk", "orla"),
        "truck": builders.holder("truck", "T-12"),
        "insulated": True,
        "boom_rated_v": 46_000,
        "boom_good_through": builders.today(),
    }
    return TruckRecord(**{**known, **columns})


MAKE = {
    LoadList: load_list,
    TruckFitting: fitting,
    LoadCheck: load_check,
    JobCheck: job_check,
    TruckRecord: truck_record,
}
