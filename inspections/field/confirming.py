"""Whose record it is: nobody's record is ever taken as another's, and a PIN is tried slowly and in the same time.

`person_of` and `held_unconfirmed` are what sync calls for each record; `pin_checked` is the same try while online.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.contrib.auth.hashers import check_password, make_password
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.utils.translation import gettext_lazy

from gear.actions import tries
from gear.models import Entry, Item, Submission, User
from inspections.actions import devices
from inspections.field import callers, sealing
from inspections.field.callers import Caller

PERSON_TRIES = 5  # for one person from anywhere: at most 10 pass in any minute
DEVICE_TRIES = 10  # from one device over all people
ALL_TRIES = 60  # on all devices together, so that many tablets do not add up
OUT_OF_USE = frozenset({"damage", "event", "lost", "held"})  # as in reported.js

SENTENCES = {
    "PIN_WRONG": gettext_lazy("Name and PIN do not match. Confirm it again with your own PIN."),
    "PIN_WAIT": gettext_lazy("Too many tries. Wait a minute, then send again."),
    "OTHER_PERSON": gettext_lazy("This was recorded by %(name)s, who must sign in to send it."),
}


class Unconfirmed(Exception):
    """It is not certain whose record this is: it stays on the phone. `code` is a key of SENTENCES, and stable."""

    def __init__(self, code: str, **values: str) -> None:
        super().__init__(str(SENTENCES[code]) % values if values else str(SENTENCES[code]))
        self.code = code


def person_of(record: Mapping[str, Any], caller: Caller) -> User:
    """The person whose record this is. Raises Unconfirmed: the record then stays on the phone.

    On a person's own phone it is the person who is signed in, and nobody else's record is taken; on a shared tablet
    the one named, once the sealed PIN is theirs. The person may have been deactivated since: what of their record
    still counts is judged where it is received.
    """
    username = record.get("person")
    named = username if isinstance(username, str) else ""
    if caller.device.kind == "own":
        return _owner(named, caller)
    return _recorded_before(record, named) or confirmed(record, caller)


def confirmed(record: Mapping[str, Any], caller: Caller) -> User:
    """The person named, once the PIN that is sealed for this record is theirs. Raises Unconfirmed."""
    username, proof = record.get("person"), record.get("proof")
    named, pin = username if isinstance(username, str) else "", ""
    if isinstance(proof, str):
        try:
            pin = sealing.unseal(proof, about=about(record.get("id"), named)).strip()
        except sealing.NotOpened:
            pin = ""
    return pin_checked(named, pin, caller)


def _recorded_before(record: Mapping[str, Any], named: str) -> User | None:
    """The person of a record that was taken already and is sent again: a PIN that was changed since loses nothing."""
    try:
        found = (
            Submission.objects.filter(
                pk=UUID(str(record.get("id"))), by__username=named, act=f"field.{record.get('kind')}"
            )
            .select_related("by")
            .first()
        )
    except ValueError:
        return None
    return found.by if found else None


def about(record_id: object, username: str) -> str:
    """What a proof is bound to: one record of one person. The phone binds it to the same (who.js)."""
    return f"{str(record_id).lower()}\n{username}"


def pin_checked(username: str, pin: str, caller: Caller) -> User:
    """The person, where the PIN is theirs. Raises Unconfirmed, with the same words and in the same time for an unknown
    name, a person without a PIN and a wrong PIN.

    Tries are counted per person, per device and over all; the right PIN gives its try back. Within one request a pair
    of name and PIN is tried once.
    """
    asked = (username, pin)
    if asked not in caller.tried:
        caller.tried[asked] = _tried(username, pin, caller)
    found = caller.tried[asked]
    if isinstance(found, Unconfirmed):
        raise found
    return found


def _tried(username: str, pin: str, caller: Caller) -> User | Unconfirmed:
    budgets = {
        f"pin of {username}": PERSON_TRIES,
        f"pin on {caller.device.pk}": DEVICE_TRIES,
        "pin anywhere": ALL_TRIES,
    }
    held = tries.take(budgets, now=timezone.now().timestamp())
    if held is None:
        return Unconfirmed("PIN_WAIT")
    person = User.objects.filter(username=username).select_related("crew__depot", "depot").first()
    fits = check_password(pin, person.pin) if person and person.pin else _same_work(pin)
    if not (fits and person and pin):
        return Unconfirmed("PIN_WRONG")
    tries.give_back(held)
    return person


def _same_work(pin: str) -> bool:
    """What checking a PIN costs, where there is none to check."""
    make_password(pin)
    return False


def _owner(named: str, caller: Caller) -> User:
    owner = caller.person or caller.device.person
    if owner is None or not named or owner.username != named:
        person = User.objects.filter(username=named).first()
        raise Unconfirmed("OTHER_PERSON", name=person.name if person else named[:80])
    return owner


def takes_out_of_use(record: Mapping[str, Any]) -> bool:
    """Whether the record, if true, takes its piece out of use: then it counts before anybody confirmed it."""
    looked = record.get("kind") == "checked"
    return record.get("kind") in OUT_OF_USE or (looked and record.get("outcome") not in (None, "", "accept"))


def held_unconfirmed(record: Mapping[str, Any], caller: Caller) -> Entry | None:
    """Hold the piece in nobody's name, naming the device, where an unconfirmed record says that it is out of use.

    Sending the same record again holds it once. None where there is nothing to hold, or it is rejected or destroyed.
    """
    item = Item.objects.filter(item_no=str(record.get("item"))).first()
    if item is None or not takes_out_of_use(record):
        return None
    return devices.hold_unconfirmed(
        item, record_id=UUID(str(record.get("id"))), what=str(record.get("kind")), device=caller.device
    )


def person(request: HttpRequest) -> JsonResponse:
    """Whether a name or a badge and a PIN belong together, asked by a shared tablet while there is a network.

    The PIN comes sealed for this question alone. What follows is confirmed anew with each record.
    """
    caller = callers.checked_caller(request)
    if isinstance(caller, JsonResponse):
        return caller
    asked = callers.sent(request)
    try:
        found = confirmed(asked, caller) if caller.device.kind == "shared" else person_of(asked, caller)
    except Unconfirmed as problem:
        return callers.refused(problem.code, str(problem))
    if not found.is_active:
        return callers.refused("PIN_WRONG", str(SENTENCES["PIN_WRONG"]))
    return JsonResponse({"person": callers.told_person(found)})
