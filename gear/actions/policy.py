"""Set a site policy or adopt a rule pack: from a day on, with a reason, never laxer, never into the past."""

from __future__ import annotations

from datetime import date, timedelta

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals, reason_in
from gear.actions.passwords import check_again
from gear.actions.refusals import FieldRefused
from gear.ledger import Draft, record, site_zone, states
from gear.ledger.rulebook import Proposed
from gear.models import Entry, SiteHead
from gear.queries import site_rules
from gear.rules import packs, policy
from gear.rules.moments import local_day
from gear.rules.policy import Refusal, SitePolicy

FURTHEST = timedelta(days=3 * 366)
# message code of a policy refusal: sentence
LAXER_WORDS = {
    "INTERVAL_LAXER": _(
        "{count} {unit} is longer than the {allowed_count} {allowed_unit} of the rule pack. Choose the same or shorter."
    ),
    "SHELF_LIMIT_LAXER": _(
        "{count} {unit} on the shelf is longer than the {allowed_count} {allowed_unit} of the rule pack. Choose the "
        "same or shorter."
    ),
    "INTERVAL_ABSURD": _("{count} {unit} cannot be right. Choose 1 to 120 months or 1 to 3660 days."),
    "DUE_SOON_DAYS_ABSURD": _("{days} days cannot be right. Choose 0 to {longest}."),
    "PHONE_HOURS_LAXER": _("{hours} hours is too long for data on a phone. Choose 1 to {longest}."),
    "KIND_UNKNOWN": _("The rule pack in force knows no gear of this kind. Leave it empty."),
}
UNITS = {"months": _("months"), "days": _("days")}


class RulesRefused(FieldRefused):
    """A change of rules that may not be made."""

    SENTENCES = {
        "IN_THE_PAST": (
            "effective_from",
            _("Choose today or a later day: what was told before cannot be changed."),
        ),
        "TOO_FAR": ("effective_from", _("Choose a day within the next three years.")),
        "LAXER": ("", _("This would be laxer than the rule pack. See beside the fields.")),
        "PACK_LAXER": (
            "",
            _("The site policy is laxer than this rule pack in places. Set a stricter policy first."),
        ),
        "NOTHING_CHANGES": ("", _("This is what counts on that day already. Nothing was changed.")),
        "RULES_MOVED_ON": (
            "",
            _("The rules were changed by somebody else meanwhile. Look at the preview again."),
        ),
        "PACK_UNREADABLE": (
            "pack",
            _("This rule pack is missing, altered or incomplete. Put back the file as shipped."),
        ),
    }


def today() -> date:
    """The site's calendar day now."""
    return local_day(timezone.now(), site_zone())


def laxer_sentence(refusal: Refusal) -> str:
    """The refusal of one choice in words, with the clause it would break."""
    values = {name: str(UNITS.get(value, value)) for name, value in refusal.values.items()}
    sentence = str(LAXER_WORDS[refusal.message_code]).format(**values)
    return sentence if refusal.clause == "internal control" else f"{sentence} {refusal.clause}"


def proposed_policy(chosen: SitePolicy, *, effective_from: date, reason: str = "") -> Proposed:
    facts = {
        "policy": policy.to_json(chosen),
        "effective_from": effective_from.isoformat(),
        "reason": reason,
    }
    return Proposed("policy_set", facts)


def proposed_pack(name: str, version: str, *, effective_from: date, reason: str = "") -> Proposed:
    """Raises RulesRefused where the pack cannot be loaded: nobody adopts what cannot be read."""
    try:
        pack = packs.load(name, version)
    except packs.PackRefused:
        raise RulesRefused("PACK_UNREADABLE") from None
    facts = {
        "name": name,
        "version": version,
        "sha256": pack.sha256,
        "effective_from": effective_from.isoformat(),
        "reason": reason,
    }
    return Proposed("pack_adopted", facts)


def check_day(effective_from: date) -> None:
    """Raise RulesRefused for a day that is past, or so far off that it is a slip."""
    if effective_from < today():
        raise RulesRefused("IN_THE_PAST")
    if effective_from > today() + FURTHEST:
        raise RulesRefused("TOO_FAR")


def conflicts(proposed: Proposed) -> list[tuple[date, Refusal]]:
    """Where the proposal would leave a policy laxer than a pack, and from which day. Raises RulesRefused."""
    try:
        return site_rules.conflicts(proposed)
    except (packs.PackRefused, policy.PolicyRefused):
        raise RulesRefused("PACK_UNREADABLE") from None


def check_changes(proposed: Proposed) -> None:
    """Raise RulesRefused where the proposal says what counts on its first day anyway."""
    day = date.fromisoformat(proposed.facts["effective_from"])
    try:
        if proposed.kind == "policy_set":
            same = policy.parse(proposed.facts["policy"]) == site_rules.policy_on(day)
        else:
            same = proposed.facts["sha256"] == site_rules.pack_on(day).sha256
    except (packs.PackRefused, policy.PolicyRefused):
        return  # what counts now cannot be read: whatever is proposed changes that
    if same:
        raise RulesRefused("NOTHING_CHANGES")


def set_policy(
    chosen: SitePolicy, *, effective_from: date, reason: str, password: str, seen: str, act: Act
) -> Entry:
    """Put a stricter policy in force from a day on. `seen` is the version of the rules that the preview showed.

    Raises RulesRefused, PasswordRefused or Refused; then nothing was stored but the refusal.
    """
    proposed = proposed_policy(chosen, effective_from=effective_from, reason=reason)
    return _enter("set_policy", proposed, password=password, seen=seen, act=act)


def adopt_pack(
    name: str, *, version: str, effective_from: date, reason: str, password: str, seen: str, act: Act
) -> Entry:
    """Put another rule pack in force from a day on, as it lies on file now. Raises as set_policy does."""
    with keeping_refusals("set_policy", f"{name} {version}", act):
        permissions.check_can(act.by, "set_policy")
        proposed = proposed_pack(name, version, effective_from=effective_from, reason=reason)
    return _enter("adopt_pack", proposed, password=password, seen=seen, act=act)


def _hold_site() -> None:
    """From here on nobody else changes the rules until this is done."""
    SiteHead.objects.get_or_create(only=True)
    SiteHead.objects.select_for_update().get(only=True)


def _enter(name: str, proposed: Proposed, *, password: str, seen: str, act: Act) -> Entry:
    with keeping_refusals(name, "site", act):
        permissions.check_can(act.by, "set_policy")
        if act.by is not None:
            check_again(act.by, password)
        _hold_site()
        facts = {**proposed.facts, "reason": reason_in(proposed.facts["reason"])}
        check_day(date.fromisoformat(facts["effective_from"]))
        if seen != site_rules.version():
            raise RulesRefused("RULES_MOVED_ON")
        if conflicts(proposed):
            raise RulesRefused("LAXER" if proposed.kind == "policy_set" else "PACK_LAXER")
        check_changes(proposed)
        entry = record(Draft(None, proposed.kind, facts), by=act.by, via=act.via, device=act.device)
    # Answers do not wait for this: they are decided from the entries. It keeps the dates that lists search by.
    states.rebuild()
    return entry
