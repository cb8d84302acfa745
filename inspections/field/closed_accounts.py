"""What the phone of a closed account still held: it gives no rights, but what takes gear out of use counts."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from gear.actions.acting import Act
from gear.actions.condition import hold, note
from inspections.field.confirming import takes_out_of_use
from inspections.field.kinds import Sent


def keep_of_closed_account(sent: Sent, act: Act) -> dict[str, Any]:
    """Keep what the phone of a closed account still held: a hold where it takes the piece out of use, else a note."""
    by_nobody = Act(None, "field", act.device, act.occurred_at, id=act.id)
    name = sent.person.username if sent.person else ""
    told = _("Sent by %(name)s after the account was closed: %(told)s") % {
        "name": name,
        "told": said_in(sent),
    }
    if sent.item is None:
        return {"kept": told}
    out = takes_out_of_use({**sent.body, "kind": sent.kind})
    doing = hold if out else note
    named = {"reason": told} if doing is hold else {"text": told}
    return {"entry": str(doing(sent.item, act=by_nobody, **named).pk)}


def said_in(sent: Sent) -> str:
    """What a record says, in a line: its kind and every text in it."""
    values = [sent.kind]
    for value in sent.body.values():
        values += [
            one for one in (value if isinstance(value, list) else [value]) if isinstance(one, str) and one
        ]
    return ", ".join(values)[:300]
