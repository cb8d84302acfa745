"""Verbs about what trucks carry: classes and their lists, which class a truck is of, and what a walk found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext_lazy as _

from gear import permissions, queries
from gear.actions.acting import Act, keeping_refusals
from gear.actions.refusals import FieldRefused
from gear.ledger import IdReused, append, site_zone
from gear.models import Holder
from gear.permissions import bound_to
from gear.rules.moments import local_day
from gear.rules.readiness import GOOD, STOP, UNKNOWN, Answer
from inspections.models import LoadCheck, LoadList, TruckClass, TruckFitting
from inspections.queries import loads as reads
from inspections.rules import loadlist
from inspections.rules.loadlist import LARGEST, LONGEST, Found, Line

MILDEST_FIRST = (GOOD, UNKNOWN, STOP)


class LoadRefused(FieldRefused):
    """A class, a list or a fitting that may not be kept."""

    SENTENCES = {
        "NAME_TAKEN": ("name", _("There is a class of this name. Open it, or choose another name.")),
        "NO_NAME": ("name", _("Give the class a name.")),
        "NO_LINES": ("", _("A load list has at least one line.")),
        "TOO_MANY_LINES": ("", _("A load list has at most 40 lines.")),
        "COUNT_WRONG": ("", _("Say how many: 1 to 200.")),
        "LEAST_NOT_OF_KIND": (
            "",
            _("This kind of item has no such class or cable size. Choose from the list."),
        ),
        "TWICE": ("", _("Two lines ask for the same. Put them together.")),
        "CHANGED": ("", _("Somebody changed the list at the same moment. Look at it again.")),
        "SAME_LIST": ("", _("Nothing was changed: the list stands as it is.")),
        "NOT_A_TRUCK": ("", _("Only a truck that is in use has a class.")),
        "OTHER_DEPOT": ("", _("This truck belongs to another depot. Ask its tool room.")),
    }


def add_class(name: str, lines: Sequence[Line], *, act: Act) -> TruckClass:
    """A class of trucks with the first version of its list."""
    name = " ".join(name.split())[:80]
    with keeping_refusals("edit_load_list", name, act):
        permissions.check_can(act.by, "edit_load_list")
        if not name:
            raise LoadRefused("NO_NAME")
        _check(lines)
        if TruckClass.objects.filter(name__iexact=name).exists():
            raise LoadRefused("NAME_TAKEN")
        try:
            with transaction.atomic():
                made = TruckClass.objects.create(name=name)
        except IntegrityError:
            raise LoadRefused("NAME_TAKEN") from None
        append(LoadList(id=act.id, by=act.by, truck_class=made, version=1, lines=loadlist.to_json(lines)))
        return made


def change_list(of: TruckClass, lines: Sequence[Line], *, seen: int, reason: str, act: Act) -> LoadList:
    """A new version of a class's list; `seen` is the version that was changed. The older versions stay."""
    with keeping_refusals("edit_load_list", of.name, act):
        permissions.check_can(act.by, "edit_load_list")
        _check(lines)
        newest = reads.newest_list(of)
        if (newest.version if newest else 0) != seen:
            raise LoadRefused("CHANGED")
        stated = loadlist.to_json(lines)
        if newest and newest.lines == stated:
            raise LoadRefused("SAME_LIST")
        row = LoadList(
            id=act.id, by=act.by, truck_class=of, version=seen + 1, lines=stated, reason=reason[:500]
        )
        try:
            with transaction.atomic():
                append(row)
        except IntegrityError:
            raise LoadRefused("CHANGED") from None
        return row


def _check(lines: Sequence[Line]) -> None:
    if not lines:
        raise LoadRefused("NO_LINES")
    if len(lines) > LONGEST:
        raise LoadRefused("TOO_MANY_LINES")
    if not all(1 <= one.count <= LARGEST for one in lines):
        raise LoadRefused("COUNT_WRONG")
    if any(one.least and one.least not in loadlist.leasts(one.kind) for one in lines):
        raise LoadRefused("LEAST_NOT_OF_KIND")
    if len({(one.kind, one.least, one.size, one.length_mm) for one in lines}) != len(lines):
        raise LoadRefused("TWICE")


def fit_truck(truck: Holder, truck_class: TruckClass | None, *, act: Act) -> TruckFitting:
    """Say of which class a truck is from now on; None takes its class away."""
    with keeping_refusals("edit_load_list", truck.name, act):
        permissions.check_can(act.by, "edit_load_list")
        if truck.kind != "truck" or not truck.active:
            raise LoadRefused("NOT_A_TRUCK")
        home = truck.depot or (truck.crew.depot if truck.crew else None)
        if act.by is not None and (bound := bound_to(act.by)) and home and bound != home:
            raise LoadRefused("OTHER_DEPOT")
        row = TruckFitting(id=act.id, by=act.by, truck=truck, truck_class=truck_class)
        append(row)
        return row


@dataclass(frozen=True)
class Walk:
    """A walk as a phone tells it. `pieces` are as LoadCheck keeps them; times are aware.

    `outcome` is what its screen said at the end. `data_as_of` is the age of what it answered from: the oldest of all
    its answers.
    """

    truck: Holder
    started_at: datetime
    finished_at: datetime
    back_on: date
    crew: tuple[str, ...]
    load_list: LoadList | None
    outcome: str
    pieces: tuple[Mapping[str, Any], ...]
    short: tuple[Mapping[str, Any], ...] = ()
    data_as_of: datetime | None = None
    people: tuple[Holder, ...] = field(default=())


def record_walk(walk: Walk, *, act: Act) -> LoadCheck:
    """Keep a walk round a truck, and beside it what the server says itself when it arrives.

    What was told is kept as it was told. The outcome is worked out again from the pieces, and where the phone told
    another, the worse of the two stands: no record is kept as good that its own pieces do not bear out. The id of the
    act is that of the walk: the same walk again gives the record that is kept. Raises IdReused for another's.
    """
    with keeping_refusals("check_load", walk.truck.name, act):
        permissions.check_can(act.by, "check_load")
        known = LoadCheck.objects.filter(pk=act.id).first()
        if known is not None:  # the phone was stopped between finishing the walk and saying so
            if (known.by_id, known.truck_id) != (act.by and act.by.pk, walk.truck.pk):
                raise IdReused(_("This walk is kept already, as another person's or of another truck."))
            return known
        found = [reads.found_in(piece) for piece in walk.pieces]
        # Nothing is good through a return that was over before the walk.
        back_on = max(walk.back_on, local_day(walk.finished_at, site_zone()))
        tally = loadlist.tally(found, back_on=back_on, short=_short(walk, found, back_on))
        row = LoadCheck(
            id=act.id,
            by=act.by,
            device=act.device[:80],
            truck=walk.truck,
            started_at=walk.started_at,
            finished_at=walk.finished_at,
            back_on=walk.back_on,
            crew=list(walk.crew),
            load_list=walk.load_list,
            outcome=max(tally.outcome, walk.outcome, key=MILDEST_FIRST.index),
            told_outcome=walk.outcome,
            expected=tally.expected,
            seen=tally.seen,
            blocked=tally.blocked,
            strays=tally.strays,
            data_as_of=walk.data_as_of,
            pieces=[dict(piece) for piece in walk.pieces],
            short=[dict(line) for line in walk.short],
            arrived=_arrived(walk),
        )
        append(row)
        return row


def _short(walk: Walk, found: Sequence[Found], back_on: date) -> int:
    """How many the load list lacks: as told, or by the pieces that were told where these fill less of it."""
    told = sum(int(line["count"]) - int(line["aboard"]) for line in walk.short)
    if walk.load_list is None:
        return told
    counting = reads.counting([one.item_no for one in found if one.counts(back_on)])
    lines = loadlist.from_json(walk.load_list.lines)
    return max(told, sum(cover.short for cover in loadlist.covered(lines, counting)))


def _arrived(walk: Walk) -> dict[str, Any]:
    """What the server says now of every piece that is in the book, and what it has on record here besides."""
    asked = queries.question()
    numbers = sorted({str(piece["no"]) for piece in walk.pieces if piece.get("no")})
    told = queries.answers(numbers, asked) if numbers else []
    listed = set(numbers)
    on_record = reads.on_record(walk.truck, people=walk.people, asked=asked)
    return {
        "as_of": asked.asked_at.isoformat(timespec="seconds"),
        "rule_pack": told[0].rule_pack if told else "",
        "pieces": {answer.item_no: _answer(answer) for answer in told},
        "besides": sorted(one.item_no for one in on_record if one.item_no not in listed and one.expected),
    }


def _answer(answer: Answer) -> dict[str, Any]:
    through = reads.last_day(answer)
    return {
        "verdict": answer.verdict,
        "reasons": [reason.code for reason in answer.reasons],
        "good_through": through.isoformat() if through else None,
    }
