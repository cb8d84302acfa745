"""A record that was refused and that its person lets go: told to the server, and kept there as it was."""

from __future__ import annotations

import json
from typing import Any

from django.utils.translation import gettext as _

from gear.actions.acting import Act, keep_refusal, reason_in
from inspections.field.kinds import BadRecord, Sent, text

KEPT_RAW = 1500  # characters of the record that are kept


def dismissed(sent: Sent, act: Act) -> dict[str, Any]:
    """Body: "record" (as it was sent), "code" (why it was refused), "reason" (the person's words).

    Raises BadRecord, or Refused where no reason is given.
    """
    record = sent.body.get("record")
    if not isinstance(record, dict):
        raise BadRecord(_("record must be the record that is dismissed."))
    shown = json.dumps({name: value for name, value in record.items() if name != "proof"})
    why, code = reason_in(text(sent.body, "reason")), text(sent.body, "code", most=40)
    item = str(record.get("item") or sent.device.name)
    keep_refusal("field_dismissed", item, act, code="DISMISSED", detail=f"{why} ({code}) {shown[:KEPT_RAW]}")
    return {"dismissed": str(record.get("id", ""))[:40]}
