"""Answering for a restored record: by the newest seal that is held outside, or by a name and a reason for the gap."""

from __future__ import annotations

import logging
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals, reason_in
from gear.actions.passwords import check_again
from gear.actions.refusals import FieldRefused
from gear.ledger import Draft, outside, record
from gear.ledger.seals import SHORTEST_ANCHOR, Anchor
from gear.models import Entry, Seal
from gear.queries import restored
from gear.queries.restored import ACCEPTED, Waiting

log = logging.getLogger(__name__)


class RestoreRefused(FieldRefused):
    """What was given does not answer for the restore."""

    SENTENCES = {
        "NOTHING_WAITS": ("", _("No restore waits for an answer. Nothing was changed.")),
        "SEAL_DIFFERS": (
            "seal",
            _(
                "This is not the newest seal of this record. Check that it was typed as printed. If it was, this is "
                "another record or an older one: look for a newer backup, or sign for the gap."
            ),
        ),
        "NEWER_OUTSIDE": (
            "seal",
            _(
                "The list of seals on this machine has a newer one, so records are missing here whatever this seal "
                "says. Look for a newer backup, or sign for the gap."
            ),
        ),
        "NO_REASON": (
            "reason",
            _("Give the seal, or say in a few words why you answer for what may be missing."),
        ),
    }


def accept(*, seal: Anchor | None, reason: str, password: str | None, act: Act) -> Entry:
    """End the state of a restored record: by `seal`, or without one by the name of who acts and a `reason`.

    `password` is None where a command acts: whoever may run one has the database itself.

    Raises RestoreRefused, PasswordRefused or NotAllowed; then everything is still `unknown`.
    """
    with keeping_refusals("sign_restore", "site", act):
        permissions.check_can(act.by, "sign_restore")
        if act.by is not None and password is not None:
            check_again(act.by, password)
        waits = restored.waiting()
        if waits is None:
            raise RestoreRefused("NOTHING_WAITS")
        facts = _by_seal(waits, seal) if seal else _signed(waits, reason)
        return record(Draft(None, ACCEPTED, facts), by=act.by, via=act.via, device=act.device)


def heard_outside(number: int, hashed: str, *, since: str, now: datetime) -> bool:
    """Note a seal (its number and its whole hash) that a phone holds and this record lacks; whether it was noted.

    Every answer is `unknown` from then on. Only for what this installation signed itself. `since`: see `is_missing`.
    """
    seal = Anchor(number, hashed)
    if not restored.is_missing(seal, since):
        return False
    known = restored.missing_outside()
    if known is not None and known.number >= number:
        return False  # a newer one is missed already
    outside.note(Seal(number=number, hash=hashed, sealed_at=now))
    log.error("Seal %s, which a phone holds, is not in this record: an older copy was put back", number)
    return True


def _by_seal(waits: Waiting, seal: Anchor) -> dict[str, str]:
    number, _colon, hashed = waits.seal.partition(":")
    same = number == str(seal.number) and hashed.startswith(seal.hash.lower())
    if not same or len(seal.hash) < SHORTEST_ANCHOR:
        raise RestoreRefused("SEAL_DIFFERS")
    if waits.outside is not None:
        raise RestoreRefused("NEWER_OUTSIDE")
    return {"how": "seal", "seal": waits.seal}


def _signed(waits: Waiting, reason: str) -> dict[str, str]:
    if not reason.strip():
        raise RestoreRefused("NO_REASON")
    facts = {"how": "signed", "reason": reason_in(reason), "seal": waits.seal, "outside": waits.outside_seal}
    return {name: value for name, value in facts.items() if value}
