"""A crew that is ready for a 12.47 kV job with truck T-12, for tests of the job check."""

from datetime import timedelta
from decimal import Decimal
from types import SimpleNamespace

from dateutil.relativedelta import relativedelta

from gear.actions.acting import Act
from gear.actions.kits import set_kit
from gear.rules.kits import Need
from inspections.actions.jobs import keep_job_check, record_truck
from inspections.queries.jobs import members_of
from inspections.rules.job import Job
from inspections.rules.job_truck import TruckFacts
from tests import builders

CABLES = {"1/0": "2", "2/0": "3", "#2": "1", "4/0": "5"}


def ago(days):
    return builders.today() - timedelta(days=days)


def out_on_day(number):
    """How many days ago a piece was tested that is out of date in so many days: 12 months before that day."""
    return (builders.today() - (ahead(number) - relativedelta(months=12))).days


def ahead(days):
    return builders.today() + timedelta(days=days)


def worn(owner, *, cls="2", size="10", tested=30, set_no=None):
    """A tested pair in somebody's hands."""
    pair = builders.pair(set_no, cls=cls, size=size, on=ago(300))
    builders.tested(*pair, on=ago(tested))
    builders.issued(*pair, to=owner, on=ago(tested))
    return pair


def stocked(at, *, cls="3", size="10", tested=30, set_no=None):
    """A tested pair that lies on a shelf and was never issued."""
    pair = builders.pair(set_no, cls=cls, size=size, on=ago(300), at=at)
    builders.tested(*pair, on=ago(tested))
    return pair


def loaded(at, kind="blanket", item_no=None, *, cls="4", tested=30, **columns):
    """A tested piece of cover aboard."""
    made = builders.item(kind, item_no, cls=cls, at=at, **columns)
    builders.tested(made, on=ago(tested))
    return made


def ground_set(at, size="2/0", set_no=None, *, tested=30):
    grade = CABLES[size]
    jumpers = builders.grounding_set(
        3, set_no=set_no, at=at, cable_size=size, clamp_grade=grade, ferrule_grade=grade
    )
    builders.tested(*jumpers, on=ago(tested))
    return jumpers


def ready_crew(cast) -> SimpleNamespace:
    """Dev with a class 2 pair, blanket B-1 and set G-001 of 2/0 aboard T-12, an insulated boom; kit: one pair."""
    depot = cast.depot
    truck = builders.holder("truck", "T-12", crew=cast.crew, depot=depot)
    dev = builders.holder("person", "Dev", person=cast.dev, crew=cast.crew, depot=depot)
    shelf = builders.holder("shelf", "Shelf 1", depot=depot)
    set_kit([Need("glove", "2", 1)], act=Act(cast.ines))
    worn(dev, set_no="P-1")
    loaded(truck, item_no="B-1")
    ground_set(truck, set_no="G-001")
    boom = TruckFacts("T-12", True, True, 46_000, ahead(200))
    record_truck(truck, boom, act=Act(cast.orla))
    return SimpleNamespace(**{**vars(cast), "truck": truck, "dev": dev, "shelf": shelf})


def line(**entered) -> Job:
    """12.47 kV multiphase, gloves, one site, 9 kA, 10 cycles, back in six days."""
    usual = {
        "system_v": 12_470,
        "exposure": "multiphase",
        "method": "gloves",
        "sites": 1,
        "grounding": "single",
        "x_over_r": Decimal("1.5"),
        "fault_ka": Decimal(9),
        "primary_cycles": 6,
        "backup_cycles": 10,
        "back_by": ahead(6),
    }
    return Job(**{**usual, **entered})


def checked(crew, *, left_out=(), members=None, by=None, **entered):
    from gear.queries import question

    going = members_of(crew.truck, question()) if members is None else members
    act = Act(by or crew.bertrand)
    return keep_job_check(line(**entered), truck=crew.truck, crew=going, left_out=left_out, act=act)


def found(row, code):
    """The findings of a kept check with a code."""
    return [one for one in row.findings if one["code"] == code]


def against(row):
    return [one["code"] for one in row.findings if one["verdict"] in ("stop", "unknown")]
