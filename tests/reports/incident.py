"""An incident for tests: a glove of Dev's on a Thursday morning, and what was said of it on Friday."""

from datetime import UTC, date, datetime
from types import SimpleNamespace

import pytest
import time_machine
from django.utils import timezone

from gear.actions import condition, custody, looks
from gear.actions.acting import Act, Refused
from gear.ledger import append
from gear.ledger.seals import make_seal
from gear.models import GivenAnswer
from inspections.actions.testing import log_test
from inspections.rules.acceptance import Reading
from tests import builders

THURSDAY = date(2026, 9, 10)
THEN = datetime(2026, 9, 10, 9, 52, tzinfo=UTC)  # 05:52 at the site
AT = "2026-09-10T05:52"


def clock(text):
    """The clock of the server, by the site's clocks in summer."""
    return time_machine.travel(datetime.fromisoformat(f"{text}-04:00"), tick=False)


def incident(cast, *, kept=True):
    """JOB, demo story 10: a glove of Dev's on Thursday morning, what was said of it on Friday, and that it is kept."""
    with clock("2026-08-17T08:00"):
        left, right = builders.pair(lot="7A", on=date(2026, 8, 17))
        builders.glove(lot="7A")
        builders.tested(left, right, on=date(2026, 8, 17), by=cast.orla)
        custody.issue([left, right], to=builders.holder("person", "Dev"), act=Act(cast.orla))
        make_seal(timezone.now())
    with clock("2026-09-10T05:50"):
        at = datetime(2026, 9, 10, 9, 49, tzinfo=UTC)
        looks.inspect_before_use(left, outcome="accept", act=Act(cast.dev, "field", "Dev's phone", at))
    with clock("2026-09-10T05:53"):
        given = {"verdict": "good", "good_through": date(2027, 2, 16), "rule_pack": "us_federal 1"}
        append(
            GivenAnswer(
                by=cast.dev, item=left, code="x", device="Dev's phone", data_age_s=180, shown_at=THEN, **given
            )
        )
    with clock("2026-09-11T09:10"):
        at = datetime(2026, 9, 10, 9, 45, tzinfo=UTC)
        condition.report_event(
            left, event="flash_or_contact", note="seen", act=Act(cast.bertrand, occurred_at=at)
        )
    if kept:
        with clock("2026-09-11T10:00"):
            condition.keep_evidence(left, reason="contact at pole 7", act=Act(cast.ines))
            reading = Reading(date(2026, 9, 11), "in_service", "ac", 20000, 60, visual="accept")
            with pytest.raises(Refused):
                log_test(left, reading, act=Act(cast.orla))
    return SimpleNamespace(left=left, right=right, cast=cast)
