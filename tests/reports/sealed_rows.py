"""One row for each sealed table of reports, ready to be stored."""

from django.utils import timezone

from gear.ledger import append
from gear.models import Item
from reports.models import AuditResult, AuditSample
from tests import builders
from tests.reports.loop_rows import MAKE as LOOP
from tests.reports.mail_rows import MAKE as MAIL


def sample(**columns):
    known = {
        "by": builders.person("clerk", "orla"),
        "start": "40711",
        "as_of": timezone.now(),
        "confidence": 95,
        "population": 300,
        "size": 1,
        "parts": [["", 300, 1]],
        "drawn": [["", "B-1"]],
    }
    return AuditSample(**{**known, **columns})


def result(**columns):
    if "sample" not in columns:
        append(columns.setdefault("sample", sample()))
    known = {
        "by": builders.person("clerk", "orla"),
        "item": Item.objects.order_by("pk").first() or builders.blanket("B-1"),
        "found": "as_recorded",
        "looked_by": "Halvard",
        "looked_on": builders.today(),
    }
    return AuditResult(**{**known, **columns})


MAKE = {AuditSample: sample, AuditResult: result, **MAIL, **LOOP}
