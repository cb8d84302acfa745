"""Load the demo: the invented co-operative with its people, its gear, and every awkward case on purpose."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from types import ModuleType

from django.db import transaction
from django.utils import timezone

from fixtures.demo import fleet, people
from gear import queries
from gear.actions import condition, custody, looks, sightings
from gear.actions import gearbook as gear_book
from gear.actions.acting import Act
from gear.actions.committing import BY_COMMAND
from gear.actions.destruction import destroy_batch
from gear.actions.qualifications import qualify
from gear.ledger import Draft, record, site_zone
from gear.ledger.seals import make_seal
from gear.models import Crew, Depot, Entry, Holder, Item, ItemState, User
from gear.queries import Scanned
from gear.rules import gearbook, moments, policy
from inspections.actions import instruments as register
from inspections.actions import testbook as test_book
from inspections.actions.corrections import correct_test
from inspections.actions.instruments import Certificate
from inspections.actions.testing import log_test
from inspections.models import Instrument
from inspections.rules import testbook
from inspections.rules.acceptance import Reading
from inspections.rules.testfacts import Paper
from reports.actions.demo_bench import bench_day
from reports.actions.demo_carton import lab_carton
from reports.actions.demo_counter import at_the_counter
from reports.actions.demo_incident import incident
from reports.actions.demo_job import trucks_and_job
from reports.actions.demo_trucks import trucks
from reports.actions.demo_weeks import capacities
from reports.actions.recipients import list_address


def load(today: date) -> dict[str, int]:
    """Fill an empty database; returns how much of what there is. The same day always gives the same demo."""
    books = fleet.books(today)
    with transaction.atomic():
        cast = _people()
        incident(today, cast)
        _instruments(today, cast)
        _import(gear_book, "penhallow-gear.csv", books.gear, gearbook.COLUMNS)
        _import(test_book, "penhallow-tests.csv", books.tests, testbook.COLUMNS)
    story = _Story(today, cast)
    story.told()
    lab_carton(today, story.act)
    capacities(today, story.act)
    list_address("safety@penhallow.example", act=story.act("ines"))
    at_the_counter(today, story.act)
    bench_day(today, story.act)
    trucks(today, story.act)
    trucks_and_job(today, story.act)
    make_seal(timezone.now())
    return {"people": User.objects.count(), "items": Item.objects.count(), "entries": Entry.objects.count()}


def _people() -> dict[str, User]:
    depots = {name: Depot.objects.create(name=name) for name in people.DEPOTS}
    crews = {
        name: Crew.objects.create(
            name=name, depot=depots[people.crew_depot(name)], phone=f"555-01{number:02d}"
        )
        for number, name in enumerate(people.CREWS, start=1)
    }
    cast = {}
    for one in people.CAST:
        cast[one.username] = person = User(
            username=one.username,
            first_name=one.first_name,
            last_name=one.last_name,
            role=one.role,
            crew=crews.get(one.crew),
            depot=depots.get(one.depot),
            email=one.email,
        )
        person.set_password(people.PASSWORD)
        person.save()
        if one.crew:
            Holder.objects.create(
                kind="person", name=one.name, crew=person.crew, depot=person.depot, person=person
            )
    return cast


def _instruments(today: date, cast: dict[str, User]) -> None:
    """Two meters and the lab: one in calibration for long, one calibrated six weeks ago, one due soon."""

    def day(ago: int) -> date:
        return today - timedelta(days=ago)

    on_file = (
        ("M-1", "meter", ((225, -140, "C-1187"),)),
        ("M-2", "meter", ((fleet.METER_CALIBRATED_AGO + 361, fleet.METER_CALIBRATED_AGO, "C-1012"),
                          (fleet.METER_CALIBRATED_AGO, -323, "C-1255"))),
        ("R-1", "micro_ohmmeter", ((380, 15, "C-1033"),)),
        ("The lab", "lab", ((350, -15, "L-77"),)),
    )  # fmt: skip
    for name, kind, calibrations in on_file:
        made = register.add_instrument(name, kind=kind, act=Act(cast["orla"]))
        for ago, through, number in calibrations:
            certificate = Certificate(day(ago), day(through), True, "", number, "Sound Bay standards room")
            register.calibrate(made, certificate, act=Act(cast["orla"]))
    # Tests older than what is on file of M-1: the sticker of the calibration before is all that is known.
    Instrument.objects.filter(name="M-1").update(calibration_due_on=day(225))


def _import(book: ModuleType, name: str, rows: list[dict[str, str]], columns: tuple[str, ...]) -> None:
    """Bring the rows in as a file, as an administrator would."""
    report = book.commit(name, fleet.as_csv(rows, columns), act=Act(None, "import"), limits=BY_COMMAND)
    if not report.committed:
        raise ValueError(f"The demo's own {name} was refused: {report.totals}")


@dataclass
class _Story:
    """What happened at the co-operative lately, told through the same verbs that its people use."""

    today: date
    cast: dict[str, User]

    def told(self) -> None:
        self._inspectors()
        self._crew_seven()
        self._truck_twelve()
        self._scrap_and_loss()
        self._repair_and_fault()
        self._paper()

    def _inspectors(self) -> None:
        """Orla may accept by eye; what Bertrand had has run out."""
        for name, first, last in (("bertrand", -760, -30), ("orla", -90, 275)):
            qualify(
                self.cast[name],
                from_on=self.today + timedelta(days=first),
                until_on=self.today + timedelta(days=last),
                reason="two days at the bench, then an examination",
                act=Act(self.cast["ines"]),
            )

    def _crew_seven(self) -> None:
        """Marisol's right glove fails on Thursday; a colleague's pair was used without protectors."""
        right = self._held_by("Marisol Tregear", hand="R")[0]
        log_test(
            right,
            self._reading(3, Decimal("18.6")),
            act=self.act("orla"),
            instrument="M-1",
            report_no="BENCH-D1",
        )
        worn = self._held_by("Bertrand Coyle", hand="L")[0]
        condition.report_event(
            worn,
            event="used_without_protectors",
            note="ten minutes, low dexterity job",
            act=self.act("bertrand", days=1, hour=15),
        )
        inspected = self._held_by("Dev Lanyon", hand="L")[0]
        looks.inspect_before_use(inspected, outcome="accept", act=self.act("dev"))

    def _truck_twelve(self) -> None:
        """A muddy cover, a blanket cut on a bolt end, and a jumper that nobody can find."""
        cover, *_ = self._held_by("T-12", kind="rigid_cover")
        looks.inspect_before_use(cover, outcome="clean", words=["mud"], act=self.act("dev", days=1, hour=16))
        blanket, *_ = self._held_by("T-12", kind="blanket")
        looks.inspect_before_use(
            blanket,
            outcome="reject",
            words=["cut"],
            place="face_a:square_6",
            note="torn on a bolt end",
            act=self.act("marisol", days=1, hour=11),
        )
        jumper, *_ = self._held_by("T-12", kind="grounding_jumper")
        condition.report_lost(
            jumper, reason="not seen at the last walk round", act=self.act("bertrand", days=2)
        )

    def _scrap_and_loss(self) -> None:
        """A destroyed ghost still on a truck, a lost pair found again, a recall hold."""
        ghost, lost, recalled = self._held_by("T-03", kind="blanket")[:3]
        condition.reject(ghost, reason="cut through the colour layer", act=self.act("orla", days=40))
        destroy_batch(
            [ghost],
            witness=self.cast["ines"],
            secret=people.PASSWORD,
            reason="cut in four",
            act=self.act("orla", days=38),
        )
        seen = queries.seen(ghost.item_no, queries.question())
        sightings.keep_answer(
            Scanned(seen, ""), queries.question(), typed=ghost.item_no, by=self.cast["marisol"]
        )
        condition.report_lost(lost, reason="left at the storm job", act=self.act("bertrand", days=30))
        condition.report_found(lost, note="in the bin of T-19", act=self.act("bertrand", days=2))
        condition.hold(recalled, reason="maker's notice about lot", act=self.act("ines", days=5))

    def _repair_and_fault(self) -> None:
        """A set that carried fault current, a blanket repaired and tested again."""
        for jumper in self._held_by("T-04", kind="grounding_jumper")[:3]:
            condition.report_event(
                jumper,
                event="carried_fault_current",
                note="feeder 12.47 kV, Upper Clay",
                act=self.act("bertrand", days=4),
            )
        repaired = self._held_by("Tannery Road tool room", kind="blanket")[0]
        condition.report_event(
            repaired, event="repaired", note="corner patched", act=self.act("bertrand", days=6)
        )
        reading = Reading(
            self.today - timedelta(days=5),
            "after_repair",
            "ac",
            40_000,
            60,
            visual="accept",
            breakdown=False,
            flashover=False,
        )
        log_test(repaired, reading, act=self.act("orla"), report_no="BENCH-D2")

    def _paper(self) -> None:
        """A slip of the keyboard corrected by a second person, a late entry, a stricter policy."""
        slip = self._held_by("Ferrow Point tool room", kind="glove", hand="L")[0]
        test, _judged = log_test(
            slip, self._reading(2, Decimal("98.0")), act=self.act("orla"), report_no="BENCH-D3"
        )
        correct_test(
            test.entry,
            self._reading(2, Decimal("9.8")),
            Paper(report_no="BENCH-D3"),
            reason="9.8 mA on the bench sheet; the point was missed",
            act=self.act("ines"),
        )
        late = self._held_by("T-19", kind="line_hose")[0]
        condition.note(
            late, text="entered late: checked on the roadside", act=self.act("bertrand", days=4, hour=5)
        )
        custody.move(
            self._held_by("T-19", kind="hood")[:1],
            to=Holder.objects.get(kind="truck", name="T-12"),
            act=self.act("orla"),
        )
        stricter = policy.to_json(policy.from_toml())
        stricter["intervals"]["live_line_tool"] = {"count": 12, "unit": "months"}
        facts = {
            "policy": stricter,
            "effective_from": (self.today - timedelta(days=60)).isoformat(),
            "reason": "safety committee: sticks yearly",
        }
        record(Draft(None, "policy_set", facts), by=self.cast["ines"], via="system")

    def _reading(self, days: int, current: Decimal) -> Reading:
        return Reading(
            self.today - timedelta(days=days),
            "in_service",
            "ac",
            20_000,
            60,
            current,
            visual="accept",
            breakdown=False,
            flashover=False,
        )

    def act(self, username: str, *, days: int = 0, hour: int = 6) -> Act:
        """Something that somebody did so many days ago; today means now."""
        if not days:
            return Act(self.cast[username])
        day = self.today - timedelta(days=days)
        at = moments.start_of_day(day, site_zone()) + timedelta(hours=hour)
        return Act(self.cast[username], occurred_at=datetime.fromtimestamp(at.timestamp(), tz=at.tzinfo))

    @staticmethod
    def _held_by(name: str, *, kind: str = "glove", hand: str = "") -> list[Item]:
        states = ItemState.objects.filter(holder__name=name, condition="ok", item__item_type__kind=kind)
        if hand:
            states = states.filter(item__hand=hand, item__item_type__cls="2")
        return [state.item for state in states.select_related("item", "item__item_type").order_by("item_id")]
