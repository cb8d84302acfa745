"""Keep an audit sample, and enter what was found of its pieces. A result is a finding, and changes no verdict."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, ClassVar

from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals
from gear.actions.refusals import FieldRefused
from gear.ledger import append
from gear.models import Item
from reports.models import FOUND_NAMES, AuditResult, AuditSample
from reports.queries.sampling import population
from reports.rules.sampling import Drawn, draw


class AuditRefused(FieldRefused):
    """A sample or a result that cannot be entered as it stands."""

    SENTENCES: ClassVar[Mapping[str, tuple[str, Promise]]] = {
        "NOTHING_ENTERED": ("", _("Nothing was entered: say of at least one piece what was found.")),
        "NOT_DRAWN": ("", _("One of these pieces is not in this sample. Look at the sheet again.")),
        "NOBODY_LOOKED": ("looked_by", _("Name who stood before the pieces.")),
        "LOOKED_BEFORE_DRAW": (
            "looked_on",
            _("This day lies before the moment of the draw, or in the future. Check the date."),
        ),
        "NOT_DRAWABLE": ("", _("This sample cannot be drawn. Draw it again.")),
    }


def keep_sample(asked: Mapping[str, Any], *, size: int, confidence: int, act: Act) -> AuditSample:
    """Keep a draw, worked out anew from `asked`: start, at (a moment), depot, kind and strata.

    Raises NotAllowed, or AuditRefused where it cannot be drawn.
    """
    start, at, depot, kind, strata = (asked[name] for name in ("start", "at", "depot", "kind", "strata"))
    with keeping_refusals("enter_audit", f"sample {start}", act):
        permissions.check_can(act.by, "enter_audit")
        found = population(at, depot=depot, kind=kind)
        try:
            drawn = draw(found.members(strata), size=size, start=start)
        except ValueError as error:
            raise AuditRefused("NOT_DRAWABLE") from error
        sample = AuditSample(
            id=act.id,
            by=act.by,
            start=start,
            as_of=at,
            depot=depot,
            kind=kind,
            strata=strata,
            confidence=confidence,
            population=drawn.population,
            size=size,
            parts=[[one.name, one.population, one.size] for one in drawn.strata],
            drawn=_pairs(drawn),
        )
        append(sample)
        return sample


def _pairs(drawn: Drawn) -> list[list[str]]:
    return [[one.stratum, one.item_no] for one in drawn.pieces]


def enter_results(
    sample: AuditSample,
    found: Mapping[str, tuple[str, str]],
    *,
    looked_by: str,
    looked_on: date,
    act: Act,
) -> int:
    """Enter what was found, item number: (one of FOUND_NAMES, a note), all or none; returns how many.

    Raises NotAllowed or AuditRefused.
    """
    with keeping_refusals("enter_audit", f"sample {sample.start}", act):
        permissions.check_can(act.by, "enter_audit")
        if not found:
            raise AuditRefused("NOTHING_ENTERED")
        if not looked_by.strip():
            raise AuditRefused("NOBODY_LOOKED")
        if not timezone.localdate(sample.as_of) <= looked_on <= timezone.localdate():
            raise AuditRefused("LOOKED_BEFORE_DRAW")
        drawn = {item_no for _stratum, item_no in sample.drawn}
        if not set(found) <= drawn or not {word for word, _note in found.values()} <= set(FOUND_NAMES):
            raise AuditRefused("NOT_DRAWN")
        items = {one.item_no: one for one in Item.objects.filter(item_no__in=found)}
        for item_no, (word, note) in sorted(found.items()):
            append(
                AuditResult(
                    by=act.by,
                    sample=sample,
                    item=items[item_no],
                    found=word,
                    looked_by=looked_by.strip(),
                    looked_on=looked_on,
                    note=note,
                )
            )
        return len(found)
