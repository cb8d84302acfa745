"""What the phone makes of its data is what the server decides: for fleets made up by chance, at any moment."""

from __future__ import annotations

import random
from datetime import UTC, datetime, time, timedelta

import pytest
import time_machine

from gear import queries
from gear.queries.questions import site_zone
from gear.rules import moments
from tests.browser.trucking import run
from tests.inspections.fielding import bundle, tablet_of
from tests.reports.harbour import MONDAY
from tests.reports.test_same_verdicts import fleet_of

pytestmark = pytest.mark.django_db(transaction=True)

EVENING = datetime.combine(
    MONDAY, time(22, 30), UTC
)  # half past six in the evening at the site: data lasts past midnight


@pytest.mark.parametrize("seed", [1, 2])
def test_the_phone_says_what_the_server_decides(page, live_server, cast, seed):
    with time_machine.travel(EVENING, tick=False):
        fleet_of(random.Random(seed))
        held = bundle(tablet_of(None, cast.pim, key=f"tablet {seed}"))
        items, meta = held.pop("items"), held
        midnight = moments.start_of_day(
            EVENING.astimezone(site_zone()).date() + timedelta(days=1), site_zone()
        )
        expiry = datetime.fromtimestamp(meta["expires_ms"] / 1000, tz=UTC)
        tick = timedelta(milliseconds=1)
        asked_at = [EVENING, midnight - tick, midnight, expiry - tick, expiry, expiry + timedelta(days=30)]
        wanted = []
        for moment in asked_at:
            question = queries.question(moments.local_day(moment, site_zone()))
            found = queries.answers([row["no"] for row in items], question)
            wanted.append([one.verdict if moment < expiry else "unknown" for one in found])
    page.goto(f"{live_server.url}/truck/")
    told = run(
        page,
        """return values.moments.map((nowMs) => values.items.map(
          (row) => verdict.decide({...row, asked: row.no}, {nowMs, trusted: true, meta: values.meta}).verdict));""",
        items=items,
        meta=meta,
        moments=[int(moment.timestamp() * 1000) for moment in asked_at],
    )
    assert {"good", "stop"} <= set(wanted[0])
    assert told == wanted
    untrusted = run(
        page,
        """return values.items.map((row) => verdict.decide(
          {...row, asked: row.no}, {nowMs: values.meta.issued_ms, trusted: false, meta: values.meta}).verdict);""",
        items=items,
        meta=meta,
    )
    assert set(untrusted) == {"unknown"}
