"""What phones send: each record once, in its order, with its own outcome. What cannot be taken is kept as a refusal."""

from __future__ import annotations

import json
import logging
import secrets
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from threading import BoundedSemaphore
from typing import Any
from uuid import UUID

from django.db import transaction
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.actions.acting import REFUSALS, Act, keep_refusal
from gear.actions.submissions import once
from gear.models import Item, User
from gear.queries import restored
from gear.queries.questions import BadQuestion, moment_in
from inspections.actions import devices
from inspections.field import callers
from inspections.field.answered import answered
from inspections.field.callers import Caller
from inspections.field.closed_accounts import keep_of_closed_account
from inspections.field.confirming import Unconfirmed, held_unconfirmed, person_of, takes_out_of_use
from inspections.field.kinds import BadRecord, Sent
from inspections.field.registry import doing_of
from inspections.models import Device
from inspections.queries.devices import KEPT_ON_PHONES

log = logging.getLogger(__name__)
MOST_RECORDS = 50
RETRY_AFTER_S = range(2, 12)  # spread, so that they do not all come again at once
_AT_ONCE = BoundedSemaphore(4)  # phones that one process takes records of at the same time
LONGEST_BODY = 512 * 1024
ENVELOPE = frozenset({"id", "kind", "item", "person", "proof", "occurred_at", "told"})
KEPT_RAW = 1800  # characters of a record that cannot be taken, kept with its refusal
SKEW = timedelta(seconds=120)  # as for every entry: a clock may run a little ahead
LARGEST_SKEW_S = 2**31 - 1


def sync(request: HttpRequest) -> JsonResponse:
    """Take the records of one device. A body that cannot be read is refused whole; the phone keeps everything."""
    if not _AT_ONCE.acquire(blocking=False):
        # Two hundred phones come home at the same minute: whoever waits keeps everything and comes again.
        wait = {"Retry-After": str(secrets.choice(RETRY_AFTER_S))}
        return JsonResponse(
            {"refused": "BUSY", "message": _("Busy. It is tried again by itself.")}, status=429, headers=wait
        )
    try:
        return _synced(request)
    finally:
        _AT_ONCE.release()


def _synced(request: HttpRequest) -> JsonResponse:
    caller = callers.checked_sender(request)
    if isinstance(caller, JsonResponse):
        return caller
    try:
        sent = _body(request)
    except BadRecord as error:
        return JsonResponse({"refused": "BODY", "message": str(error)}, status=422)
    now = timezone.now()
    _heard_of(caller.device, sent, now)
    if type(sent.get("wiped")) is int and sent["wiped"] > 0:
        devices.keep_wiped(
            caller.device, unsent=min(sent["wiped"], LARGEST_SKEW_S), act=Act(caller.person, via="field")
        )
    results = [_taken(one, caller, now) for one in sent["records"]]
    answered_ms = int(timezone.now().timestamp() * 1000)
    told = {"nonce": sent["nonce"], "server_ms": answered_ms, "epoch": restored.epoch(), "results": results}
    return JsonResponse(told)


def _body(request: HttpRequest) -> dict[str, Any]:
    raw = request.body
    if len(raw) > LONGEST_BODY:
        raise BadRecord(_("That is too much at once. Send fewer records."))
    try:
        sent = json.loads(raw, parse_float=str, parse_constant=str)  # numbers in evidence are whole or text
    except (ValueError, RecursionError):
        raise BadRecord(_("The body is not JSON.")) from None
    whole = isinstance(sent, dict) and isinstance(sent.get("records"), list)
    if not whole or len(sent["records"]) > MOST_RECORDS or not isinstance(sent.get("nonce"), str):
        raise BadRecord(_("The body must hold a nonce and at most %s records.") % MOST_RECORDS)
    return sent


def _heard_of(device: Device, sent: Mapping[str, Any], now: datetime) -> None:
    """Note when the device was heard of, how far its clock is off, and how much it still holds."""
    device.last_seen_at = device.last_sync_at = now
    stated, unsent = sent.get("device_now_ms"), sent.get("unsent")
    if type(stated) is int:
        skew = (stated - int(now.timestamp() * 1000)) // 1000
        device.skew_s = max(-LARGEST_SKEW_S, min(LARGEST_SKEW_S, skew))
    if type(unsent) is int and 0 <= unsent < LARGEST_SKEW_S:
        device.unsent = unsent
    device.save(update_fields=["last_seen_at", "last_sync_at", "skew_s", "unsent"])


def _taken(raw: Any, caller: Caller, now: datetime) -> dict[str, str]:
    """The outcome of one record; whatever goes wrong with it, the next one has its turn."""
    stated = raw.get("id") if isinstance(raw, dict) else None
    sent_id = stated if isinstance(stated, str) else ""
    try:
        outcome = _done(raw, caller, now)
    except Unconfirmed as error:
        _hold(raw, caller)
        return _result(sent_id, "refused", error.code, str(error))
    except (BadRecord, BadQuestion) as error:
        _hold(raw, caller)  # a program of another release must not be the reason why a cut glove stays in use
        return _kept(raw, caller, sent_id, "BAD_RECORD", str(error))
    except REFUSALS as error:
        return _kept(raw, caller, sent_id, getattr(error, "code", type(error).__name__), str(error))
    except Exception:
        log.exception("A record of %s could not be taken", caller.device.name)
        return _result(sent_id, "later", "BROKEN", _("Something broke here. The record stays on the phone."))
    return _result(sent_id, outcome, "", "")


def _done(raw: Any, caller: Caller, now: datetime) -> str:
    sent = _read(raw, caller, now)
    if sent.kind == "answered":
        return "recorded" if answered(sent) else "already"
    doing = doing_of(sent.kind)
    if doing is None or sent.person is None:
        raise BadRecord(_("This server does not know records of this kind. Update the page."))
    act = Act(sent.person, via="field", device=sent.device.name, occurred_at=sent.occurred_at, id=sent.id)

    if not sent.person.is_active:
        doing = keep_of_closed_account

    def work() -> dict[str, Any]:
        return {**doing(sent, act), **({"flags": list(sent.flags)} if sent.flags else {})}

    body = {name: value for name, value in raw.items() if name != "proof"}
    _answer, new = once(sent.id, act=f"field.{sent.kind}", body=body, by=sent.person, work=work)
    return "recorded" if new else "already"


def _read(raw: Any, caller: Caller, now: datetime) -> Sent:
    """The record, with what is doubtful about it. Raises BadRecord, BadQuestion or Unconfirmed."""
    if not isinstance(raw, dict):
        raise BadRecord(_("A record must be an object."))
    _check_symbols(raw)
    occurred_at, flags = _occurred_at(raw.get("occurred_at"), caller.device, now)
    kind = raw.get("kind")
    sent = Sent(
        _uuid(raw.get("id")),
        kind if isinstance(kind, str) else "",
        _item(raw.get("item")),
        None,
        caller.device,
        occurred_at,
        _told(raw.get("told")),
        {name: value for name, value in raw.items() if name not in ENVELOPE},
        tuple(flags),
    )
    person = _person_of(raw, caller)
    late = () if person is None or person.is_active else ("SUBMITTED_AFTER_DISABLE",)
    return replace(sent, person=person, flags=(*sent.flags, *late))


def _check_symbols(raw: Mapping[str, Any]) -> None:
    """Raise BadRecord for what no database keeps."""
    if not callers.keepable(raw):
        raise BadRecord(_("The record holds a character that cannot be kept. Type it again."))


def _uuid(value: Any) -> UUID:
    try:
        return UUID(value)
    except (ValueError, TypeError, AttributeError):
        raise BadRecord(_("id must be a UUID.")) from None


def _item(value: Any) -> Item | None:
    if value is None:
        return None
    found = Item.objects.filter(item_no=value).first() if isinstance(value, str) else None
    if found is None:
        raise BadRecord(_("There is no such item in the book."))
    return found


def _told(value: Any) -> Mapping[str, Any] | None:
    """What the screen said. Raises BadRecord for anything that says something else."""
    if value is None:
        return None
    fits = (
        isinstance(value, dict)
        and value.get("verdict") in ("good", "stop", "unknown")
        and type(value.get("as_of_ms")) in (int, type(None))
        and type(value.get("data_age_s")) in (int, type(None))
    )
    if not fits:
        raise BadRecord(_("told must say a verdict, as_of_ms and data_age_s."))
    return value


def _occurred_at(value: Any, device: Device, now: datetime) -> tuple[datetime, list[str]]:
    """(when it happened, flags). What lies in the future, or before the device came, counts as happening on arrival."""
    if not isinstance(value, str):
        raise BadRecord(_("occurred_at must be a moment with its offset from UTC."))
    stated = moment_in("occurred_at", value).astimezone(UTC)
    if stated > now + SKEW:
        return now, ["OCCURRED_IN_FUTURE"]
    since = device.enrolled_at or device.added_at
    if stated < since - timedelta(days=1) and not _sent_before(stated, now):
        return now, ["OCCURRED_BEFORE_ENROLMENT"]
    return min(stated, now), []


def _sent_before(stated: datetime, now: datetime) -> bool:
    """Whether the device may have been enrolled before, on a record that was put back since and knows it no more."""
    return now - stated <= KEPT_ON_PHONES and restored.may_lack(now, within=KEPT_ON_PHONES)


def _person_of(raw: Mapping[str, Any], caller: Caller) -> User | None:
    """Who did it. On an own phone whoever it belongs to and nobody else; on a tablet whoever confirmed it there."""
    stated = raw.get("person")
    if stated is None and raw.get("kind") == "answered":
        return None  # shown before anybody was known on the device
    return person_of(raw, caller)


def _hold(raw: Mapping[str, Any], caller: Caller) -> None:
    """What takes gear out of use counts before its person confirmed it, and never stops the other records."""
    if not isinstance(raw, dict) or not takes_out_of_use(raw) or not callers.keepable(raw):
        return
    try:
        with transaction.atomic():
            held_unconfirmed(raw, caller)
    except Exception:
        log.exception("A piece reported on %s could not be held", caller.device.name)


def _kept(raw: Any, caller: Caller, sent_id: str, code: str, message: str) -> dict[str, str]:
    """Refuse a record, with its raw body kept: what a phone could not deliver is not lost with the phone."""
    try:
        shown = json.dumps({k: v for k, v in raw.items() if k != "proof"} if isinstance(raw, dict) else raw)
        item = str(raw.get("item") or "") if isinstance(raw, dict) else ""
        subject = "".join(symbol for symbol in item if symbol.isprintable())
        act = Act(caller.person, via="field", device=caller.device.name)
        with transaction.atomic():
            keep_refusal(
                "field_record",
                subject or caller.device.name,
                act,
                code=code,
                detail=f"{message} {shown}"[:KEPT_RAW],
            )
    except Exception:
        log.exception("A refused record of %s could not be kept", caller.device.name)
        return _result(sent_id, "later", "BROKEN", _("Something broke here. The record stays on the phone."))
    return _result(sent_id, "refused", code, message)


def _result(sent_id: str, outcome: str, code: str, message: str) -> dict[str, str]:
    return {"id": sent_id, "outcome": outcome, "code": code, "message": message}
