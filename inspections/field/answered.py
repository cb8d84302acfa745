"""What a phone showed somebody, kept when it arrives with the moment at which it was shown."""

from __future__ import annotations

from django.utils.translation import gettext as _

from gear.actions.sightings import keep_shown
from gear.models import GivenAnswer
from inspections.field.kinds import BadRecord, Sent, day, text, words

OLDEST_S = 2**31 - 1


def answered(sent: Sent) -> bool:
    """Keep one answer that was shown; False where it is kept already. Raises BadRecord or IdReused.

    Body: "code" as asked, "reasons" (codes), "last_day" (ISO or null), "rule_pack". `told` says verdict and age.
    """
    if sent.told is None:
        raise BadRecord(_("told must say a verdict, as_of_ms and data_age_s."))
    age = sent.told.get("data_age_s")
    return keep_shown(
        GivenAnswer(
            id=sent.id,
            by=sent.person,
            item=sent.item,
            code=text(sent.body, "code", most=64),
            verdict=sent.told["verdict"],
            good_through=day(sent.body, "last_day"),
            reasons=words(sent.body, "reasons", most=40),
            rule_pack=text(sent.body, "rule_pack", most=60),
            data_age_s=max(0, min(OLDEST_S, age)) if age is not None else 0,
            device=sent.device.name[:80],
            shown_at=sent.occurred_at,
        )
    )
