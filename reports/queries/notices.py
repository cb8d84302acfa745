"""What each person was told so far, what was confirmed as out of use, and what alarms are open."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.models import Entry
from gear.queries import health
from gear.queries.book import SAYING_NOTHING
from gear.queries.sightings import open_sightings
from gear.queries.stale_uses import open_stale_uses
from reports.models import Notice, StopConfirmation
from reports.queries.sent_reports import outcome_of
from reports.rules.notices import CONFIRMED_FOR, Alarm, History
from reports.rules.weeks import week_of

REMEMBERED = timedelta(days=30)  # what was told longer ago is new again
TRIED_FOR = timedelta(hours=24)  # a notice that was not taken by then is past; what it says is told anew
SUPERVISOR, BOTH = frozenset({"supervisor"}), frozenset({"supervisor", "administrator"})


def recent(now: datetime) -> list[Notice]:
    """Every notice that is remembered, oldest first, with what came of it."""
    rows = Notice.objects.filter(at__gt=now - REMEMBERED).select_related("person")
    return list(rows.prefetch_related("attempts__outcome").order_by("at", "pk"))


def is_taken(notice: Notice) -> bool:
    """Whether the mail server took it."""
    return any(outcome_of(one) == "accepted" for one in notice.attempts.all())


def history(notices: list[Notice], now: datetime) -> History:
    """What was told: by notices that were taken, and by those that are still being tried."""
    last: dict[tuple[int, str], datetime] = {}
    first: dict[str, datetime] = {}
    reached: dict[str, datetime] = {}
    for notice in notices:
        taken = is_taken(notice)
        for key in notice.told:
            if taken or now - notice.at < TRIED_FOR:
                last[notice.person_id, key] = notice.at
            if notice.person.role == "foreman":
                first.setdefault(key, notice.at)
                if taken:
                    reached.setdefault(key, notice.at)
    return History(last, first, reached)


def confirmations(now: datetime) -> dict[str, StopConfirmation]:
    """The newest confirmation of each stop that still counts, by its key.

    It speaks of the piece as it lay then: whatever is recorded of the piece since (somebody took it or looked at it
    before use) ends it.
    """
    since = Entry.objects.filter(item=OuterRef("item"), recorded_at__gt=OuterRef("at"))
    rows = StopConfirmation.objects.filter(~Exists(since.exclude(kind__in=SAYING_NOTHING)))
    rows = rows.filter(at__gt=now - CONFIRMED_FOR).select_related("by", "item")
    return {one.key: one for one in rows.order_by("at", "pk")}


def alarms(now: datetime) -> Iterator[Alarm]:
    """What else waits for a supervisor or an administrator.

    What is red is new every week: it may have been mended and come back, and nobody would hear of that.
    """
    week = week_of(timezone.localdate(now)).label
    for finding in health.findings(now):
        if finding.level == health.RED:
            yield Alarm(f"health|{finding.code}|{week}", f"{finding.title}: {finding.sentence}", BOTH)
    for sighting in open_sightings():
        told = _("%s was scrapped, and somebody asked about it. Look under Scrapped pieces that turned up.")
        key = f"sighting|{sighting.newest.pk}"
        yield Alarm(key, told % sighting.item.item_no, SUPERVISOR)
    for use in open_stale_uses(now):
        told = _("%s was used on old data while it was not good. Look under Used on old data.")
        yield Alarm(f"stale|{use.look.pk}", told % use.item.item_no, SUPERVISOR)
