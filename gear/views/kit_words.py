"""Kits and leavers in words, for their own page and for the page of a person."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import queries, wording
from gear.models import Holder
from gear.queries import described
from gear.queries.entry_words import holder_word
from gear.queries.kits import Leaver, kits
from gear.rules.kits import Kit, Need


def need_words(need: Need) -> str:
    """`Glove, class 2: 2 pairs`, `Protector: 2 pieces`."""
    what = ", ".join(
        word for word in (described.kind_word(need.kind), described.class_word(need.cls).lower()) if word
    )
    return f"{what}: {_amount(need, need.count)}"


def _amount(need: Need, count: int) -> str:
    if need.in_pairs:
        return ngettext("%d pair", "%d pairs", count) % count
    return ngettext("%d piece", "%d pieces", count) % count


def missing_words(kit: Kit) -> list[str]:
    """What is missing, line by line, with how many that are good are there."""
    return [
        _("%(what)s (has %(has)d)") % {"what": need_words(line.need), "has": line.has} for line in kit.missing
    ]


def told_leaver(leaver: Leaver) -> dict[str, Any]:
    holder, today = leaver.holder, timezone.localdate()
    return {
        "pk": holder.pk,
        "name": holder_word(holder.as_fact()),
        "when": leave_words(holder),
        "late": leaver.leaving_on is None or leaver.leaving_on < today,
        "count": ngettext("%d piece", "%d pieces", len(leaver.pieces)) % len(leaver.pieces),
        "pieces": [
            {
                "item_no": facts.item_no,
                "what": described.heading(facts.identity),
                "verdict": answer.verdict,
                "words": wording.verdict(answer),
            }
            for answer, facts in leaver.pieces
        ],
    }


def leave_words(holder: Holder) -> str:
    """When a person leaves, or that they have; empty for who stays."""
    if holder.leaving_on:
        return _("leaves on %s") % wording.day(holder.leaving_on)
    gone = not holder.active or bool(holder.person and not holder.person.is_active)
    return _("has left, or holds no gear any more") if gone else ""


def told_person(holder: Holder) -> dict[str, Any]:
    """The lines about gear on the page of a person."""
    ((_holder, kit),) = kits(
        Holder.objects.filter(pk=holder.pk).select_related("crew", "depot"), queries.question()
    )
    return {
        "complete": kit.complete,
        "missing": missing_words(kit),
        "leaves": leave_words(holder),
        "pk": holder.pk,
    }
