"""The demo's incident: what a glove of Dev's was on a Thursday morning, what his phone told him, what came out later.

Told before everything else, by a clock that is set back: what was known then can be asked of what was entered then.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from unittest.mock import patch

from django.utils import timezone

from fixtures.demo import fleet
from gear import queries
from gear.actions import condition, custody, looks
from gear.actions import gearbook as gear_book
from gear.actions.acting import Act, Refused
from gear.actions.committing import BY_COMMAND
from gear.ledger import append, site_zone
from gear.models import Depot, GivenAnswer, Holder, Item, User
from gear.rules import gearbook, moments
from inspections.actions.testing import log_test
from inspections.rules.acceptance import Reading

PAIR = ("G-90001", "G-90002")
PHONE = "Dev's phone"
TOOL_ROOM = "Tannery Road tool room"
THURSDAY = 3  # of datetime.weekday


@dataclass(frozen=True)
class _Day:
    """Moments of one day by the clocks of the site."""

    on: date

    def at(self, hour: int, minute: int = 0) -> datetime:
        start = moments.start_of_day(self.on, site_zone())
        return start + timedelta(hours=hour, minutes=minute)


def incident(today: date, cast: Mapping[str, User]) -> None:
    """A pair tested and issued, and scanned on Thursday; on Friday an event is told and the left one is kept."""
    friday = last_friday(today)
    thursday, before = _Day(friday - timedelta(days=1)), _Day(friday - timedelta(days=32))
    with _clock(before.at(8)):
        _received(before.on)
        left, right = (Item.objects.get(item_no=number) for number in PAIR)
        for piece in (left, right):
            log_test(
                piece,
                _reading(before.on),
                act=Act(cast["orla"]),
                instrument="M-1",
                report_no=f"BENCH-{piece}",
            )
        dev = Holder.objects.get(kind="person", name=cast["dev"].name)
        custody.issue([left, right], to=dev, act=Act(cast["orla"]))
    with _clock(thursday.at(5, 50)):
        looked = Act(cast["dev"], "field", PHONE, thursday.at(5, 49))
        looks.inspect_before_use(left, outcome="accept", act=looked)
    with _clock(thursday.at(5, 53)):
        _told(left, cast["dev"], thursday.at(5, 52))
    _friday(_Day(friday), thursday.at(5, 40), left, cast)


def last_friday(today: date) -> date:
    """The newest Friday before today."""
    return today - timedelta(days=(today.weekday() - THURSDAY - 2) % 7 + 1)


def _received(on: date) -> None:
    made = (on - timedelta(days=60)).isoformat()
    rows = [
        {
            "item_no": number, "serial": f"OT90210{hand}", "kind": "glove", "class": "2", "hand": hand, "size": "10",
            "length_mm": "360", "type": "II", "colour": fleet.COLOURS["2"], "maker": "Otter Rock",
            "lot": f"LOT-{made[2:4]}{made[5:7]}",
            "set_no": "P-90001", "made_on": made, "received_on": on.isoformat(), "holder": TOOL_ROOM,
            "holder_kind": "shelf", "depot": "Tannery Road",
        }
        for number, hand in zip(PAIR, "LR", strict=True)
    ]  # fmt: skip
    content = fleet.as_csv(rows, gearbook.COLUMNS)
    report = gear_book.commit("incident-pair.csv", content, act=Act(None, "import"), limits=BY_COMMAND)
    if not report.committed:
        raise ValueError(f"The demo's own pair was refused: {report.totals}")


def _reading(on: date) -> Reading:
    return Reading(
        on, "first", "ac", 20_000, 180, Decimal("11.9"), visual="accept", breakdown=False, flashover=False
    )


def _told(left: Item, dev: User, shown_at: datetime) -> None:
    """What the phone said, three minutes after it had fetched its data."""
    answer = queries.answer(left.item_no, queries.question())
    append(
        GivenAnswer(
            by=dev,
            item=left,
            code=left.item_no,
            verdict=answer.verdict,
            good_through=answer.good_through,
            reasons=[reason.code for reason in answer.reasons],
            rule_pack=answer.rule_pack,
            data_age_s=180,
            device=PHONE,
            shown_at=shown_at,
        )
    )


def _friday(friday: _Day, happened: datetime, left: Item, cast: Mapping[str, User]) -> None:
    with _clock(friday.at(9, 10)):
        told = Act(cast["bertrand"], occurred_at=happened)
        condition.report_event(left, event="flash_or_contact", note="brushed the tail of a jumper", act=told)
    with _clock(friday.at(10)):
        safe, _made = Holder.objects.get_or_create(
            kind="shelf", name="Evidence safe", defaults={"depot": Depot.objects.get(name="Tannery Road")}
        )
        custody.move([left], to=safe, act=Act(cast["orla"]))
        condition.keep_evidence(left, reason="contact at pole 7 on Thursday", act=Act(cast["ines"]))
    with _clock(friday.at(11)), suppress(Refused):  # that it was refused is kept
        log_test(left, _reading(friday.on), act=Act(cast["orla"]), instrument="M-1")


@contextmanager
def _clock(moment: datetime) -> Iterator[None]:
    """The clock of this process at a moment of the past, for the demo alone."""
    stand: Callable[[], datetime] = lambda: moment  # noqa: E731
    with patch.object(timezone, "now", stand):
        yield
