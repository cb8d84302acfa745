"""State how many pieces the bench or a lab takes in a week. What was stated before stays on record."""

from __future__ import annotations

from datetime import date

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals
from gear.actions.refusals import FieldRefused
from gear.models import Holder
from reports.models import WeeklyCapacity
from reports.rules.planning import week_of

PLACES = ("bench", "lab")
MOST = 10_000  # pieces a week; more is a slip of the keyboard


class CapacityRefused(FieldRefused):
    """A capacity that may not be stated."""

    SENTENCES = {
        "NOT_A_TEST_PLACE": ("place", _("Only a bench or a lab that is in use tests gear. Choose one.")),
        "PIECES_WRONG": ("pieces", _("Say how many pieces in a week: 0 to 10000.")),
        "ENDS_BEFORE_IT_BEGINS": ("last", _("The last week lies before the first. Check both.")),
        "ALREADY_STATED": ("", _("The same was stated last for these weeks. It stands.")),
    }


def state_capacity(
    place: Holder, *, kind: str, pieces: int, first: date, last: date | None, note: str | None, act: Act
) -> WeeklyCapacity:
    """Keep what a bench or lab takes of a kind (empty: of everything) in the weeks of these days.

    Any day of a week names it. Raises CapacityRefused or NotAllowed.
    """
    with keeping_refusals("plan_capacity", place.name, act):
        permissions.check_can(act.by, "plan_capacity")
        if place.kind not in PLACES or not place.active:
            raise CapacityRefused("NOT_A_TEST_PLACE")
        if not 0 <= pieces <= MOST:
            raise CapacityRefused("PIECES_WRONG")
        weeks = {"first_week": week_of(first), "last_week": week_of(last)}
        if last is not None and week_of(last) < week_of(first):  # type: ignore[operator]
            raise CapacityRefused("ENDS_BEFORE_IT_BEGINS")
        newest = WeeklyCapacity.objects.filter(place=place, kind=kind, **weeks).order_by("-pk").first()
        if newest is not None and newest.pieces == pieces:
            raise CapacityRefused("ALREADY_STATED")
        row = WeeklyCapacity(
            place=place, kind=kind, pieces=pieces, note=note or "", at=timezone.now(), by=act.by, **weeks
        )
        row.save()
        return row
