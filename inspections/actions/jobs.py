"""Check a job, and enter what a truck is: both are kept as they were said, and nothing of them is ever changed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from django.utils.translation import gettext_lazy as _

from gear import permissions, queries
from gear.actions.acting import Act, keeping_refusals
from gear.actions.refusals import FieldRefused
from gear.ledger import append
from gear.models import Holder
from inspections.models import JobCheck, TruckRecord
from inspections.queries.jobs import Member, check_job
from inspections.rules.job import Job
from inspections.rules.job_kept import findings_to_json, job_to_json
from inspections.rules.job_truck import TruckFacts


class TruckRefused(FieldRefused):
    """A record of a truck that cannot be kept. `field` is the form field at fault."""

    SENTENCES: ClassVar = {
        "NOT_A_TRUCK": ("", _("Only a truck has a boom. Choose a truck.")),
        "BOOM_OF_NONE": ("insulated", _("A truck that is not insulated has no rated boom and no liner.")),
        "LINER_OF_NONE": (
            "liner_good_through",
            _("Say that the bucket has a liner, or leave its day empty."),
        ),
        "RATING_WRONG": ("boom_kv", _("A rating is more than 0 kV.")),
    }


def keep_job_check(
    job: Job, *, truck: Holder | None, crew: Sequence[Member], left_out: Iterable[str], act: Act
) -> JobCheck:
    """Judge a job as the record stands now, and keep what was asked and what was told under `act.id`."""
    with keeping_refusals("check_job", truck.name if truck else "", act):
        permissions.check_can(act.by, "check_job")
        asked, stays = queries.question(), sorted(set(left_out))
        found = check_job(job, truck, crew, stays, asked)
        pack = queries.rules_for(asked).pack
        people = [{"name": one.holder.name, "size": one.size, "pk": one.holder.pk} for one in crew]
        row = JobCheck(
            id=act.id,
            by=act.by,
            truck=truck,
            as_of=asked.as_of,
            back_by=job.back_by,
            asked={"v": 1, "job": job_to_json(job), "crew": people, "left_out": stays},
            findings=findings_to_json(found),
            verdict=found.verdict,
            rule_pack=pack.label if pack else "",
        )
        append(row)
        return row


def record_truck(truck: Holder, facts: TruckFacts, *, note: str = "", act: Act) -> TruckRecord:
    """Keep what a truck is from now on. Raises TruckRefused or NotAllowed; then nothing but the refusal is kept."""
    with keeping_refusals("record_truck", truck.name, act):
        permissions.check_can(act.by, "record_truck")
        _check(truck, facts)
        row = TruckRecord(
            id=act.id,
            by=act.by,
            truck=truck,
            insulated=facts.insulated,
            boom_rated_v=facts.boom_rated_v,
            boom_good_through=facts.boom_good_through,
            has_liner=facts.has_liner,
            liner_good_through=facts.liner_good_through,
            note=" ".join(note.split())[:200],
        )
        append(row)
        return row


def _check(truck: Holder, facts: TruckFacts) -> None:
    if truck.kind != "truck":
        raise TruckRefused("NOT_A_TRUCK")
    boom = facts.boom_rated_v is not None or facts.boom_good_through is not None or facts.has_liner
    if not facts.insulated and boom:
        raise TruckRefused("BOOM_OF_NONE")
    if facts.liner_good_through is not None and not facts.has_liner:
        raise TruckRefused("LINER_OF_NONE")
    if facts.boom_rated_v is not None and facts.boom_rated_v <= 0:
        raise TruckRefused("RATING_WRONG")
