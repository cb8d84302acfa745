"""What is done to gear by API: moves and the acts on one item, each exactly once under the client's own id."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.response import Response
from rest_framework.views import APIView

from gear.actions import condition, custody, destruction, looks
from gear.actions.acting import Act
from gear.actions.submissions import once
from gear.api.fields import Body, Moment, Text, Word, checked
from gear.api.items import REFUSALS, find
from gear.models import Entry, Holder, Item, User
from gear.rules.entries import HOLDER_KINDS, VOIDING_EVENTS

LOOKS = ("accept", "clean", "test", "reject")


class Recorded(serializers.Serializer):
    """What was recorded: the same again for the same id."""

    client_uuid = serializers.UUIDField()
    entries = serializers.ListField(child=serializers.DictField())


class Place(Body):
    kind = Word(HOLDER_KINDS)
    name = Text(most=80)


class MoveBody(Body):
    client_uuid = serializers.UUIDField()
    act = Word(("move", "issue"))
    items = serializers.ListField(child=Text(most=40), min_length=1, max_length=200)
    to = Place()
    occurred_at = Moment(required=False)
    device = Text(most=80, required=False)


class ActBody(Body):
    client_uuid = serializers.UUIDField()
    act = Word(
        ("hold", "reject", "report_lost", "report_found", "report_event", "mark_needs_cleaning", "mark_cleaned",
         "send_for_test", "send_for_repair", "release", "keep_evidence", "free_evidence", "destroy", "note",
         "inspect_before_use")
    )  # fmt: skip
    reason = Text(most=500, required=False)
    event = Word(VOIDING_EVENTS, required=False)
    outcome = Word(LOOKS, required=False)
    words = serializers.ListField(child=Text(most=60), required=False, max_length=12)
    hold = serializers.UUIDField(required=False)
    witness = Text(most=150, required=False)
    witness_secret = Text(most=4096, required=False)
    place = Text(most=200, required=False)
    occurred_at = Moment(required=False)
    device = Text(most=80, required=False)


class Moves(APIView):
    """Issue, move, lend or take back: all of the items or none."""

    @extend_schema(request=MoveBody, responses={201: Recorded, 200: Recorded, **REFUSALS})
    @checked(MoveBody)
    def post(self, request: Any, *, given: dict[str, Any]) -> Response:
        items = [find(item_no) for item_no in dict.fromkeys(given["items"])]
        to = Holder.objects.select_related("crew", "depot").filter(**given["to"], active=True).first()
        if to is None:
            raise ValidationError(
                {"to": [_("There is no such holder. Add it first, or check kind and name.")]}
            )
        act = act_of(request, given)
        verb = custody.issue if given["act"] == "issue" else custody.move
        return recorded_once(request, given, lambda: verb(items, to=to, act=act), act=act)


class Acts(APIView):
    """Hold, reject, report, inspect, release, destroy: one act on one item."""

    @extend_schema(request=ActBody, responses={201: Recorded, 200: Recorded, **REFUSALS})
    @checked(ActBody)
    def post(self, request: Any, item_no: str, *, given: dict[str, Any]) -> Response:
        item, act = find(item_no), act_of(request, given)
        work = _WORK.get(given["act"], _with_reason)
        # What is kept of a sending must not hold a trace of a password or PIN.
        kept = {name: value for name, value in given.items() if name != "witness_secret"}
        return recorded_once(request, {**kept, "item": item_no}, lambda: [work(item, given, act)], act=act)


def act_of(request: Any, given: dict[str, Any]) -> Act:
    """Who acts, under the client's id."""
    return Act(
        request.user, "api", given.get("device", ""), given.get("occurred_at"), id=given["client_uuid"]
    )


def recorded_once(
    request: Any, given: dict[str, Any], work: Callable[[], list[Entry]], *, act: Act
) -> Response:
    """201 with what was recorded; 200 with the same body when the same came before."""

    def answer() -> dict[str, Any]:
        return {"client_uuid": str(act.id), "entries": [entry_body(entry) for entry in work()]}

    stated = {name: _plain(value) for name, value in given.items()}
    body, is_new = once(act.id, act=given["act"], body=stated, by=request.user, work=answer)
    return Response(body, 201 if is_new else 200)


def entry_body(entry: Entry) -> dict[str, Any]:
    """What a client needs to know of an entry that was recorded."""
    return {
        "id": str(entry.id),
        "item_no": entry.item.item_no if entry.item else None,
        "kind": entry.kind,
        "occurred_on": entry.occurred_on.isoformat(),
        "recorded_at": entry.recorded_at.isoformat(),
        "hash": entry.hash,
    }


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    return value if value is None or isinstance(value, bool | int | str) else str(value)


def _with_reason(item: Item, given: dict[str, Any], act: Act) -> Entry:
    return getattr(condition, given["act"])(item, reason=given.get("reason", ""), act=act)


def _found(item: Item, given: dict[str, Any], act: Act) -> Entry:
    return condition.report_found(item, note=given.get("reason", ""), act=act)


def _cleaned(item: Item, given: dict[str, Any], act: Act) -> Entry:
    return looks.mark_cleaned(item, note=given.get("reason", ""), act=act)


def _note(item: Item, given: dict[str, Any], act: Act) -> Entry:
    return condition.note(item, text=given.get("reason", ""), act=act)


def _event(item: Item, given: dict[str, Any], act: Act) -> Entry:
    return condition.report_event(item, event=_needed(given, "event"), note=given.get("reason", ""), act=act)


def _inspected(item: Item, given: dict[str, Any], act: Act) -> Entry:
    return looks.inspect_before_use(
        item,
        outcome=_needed(given, "outcome"),
        words=given.get("words"),
        place=given.get("place", ""),
        note=given.get("reason", ""),
        act=act,
    )


def _released(item: Item, given: dict[str, Any], act: Act) -> Entry:
    verb = condition.release if given["act"] == "release" else condition.free_evidence
    return verb(item, hold_id=str(_needed(given, "hold")), reason=given.get("reason", ""), act=act)


def _destroyed(item: Item, given: dict[str, Any], act: Act) -> Entry:
    witness = User.objects.filter(username=given.get("witness", ""), is_active=True).first()
    batch = destruction.destroy_batch(
        [item],
        witness=witness,
        secret=given.get("witness_secret", ""),
        reason=given.get("reason", ""),
        act=act,
    )
    return Entry.objects.get(pk=batch.pieces[0])


def _needed(given: dict[str, Any], name: str) -> Any:
    if name not in given:
        raise ValidationError({name: [_("This field is needed for this act.")]})
    return given[name]


_WORK: dict[str, Callable[[Item, dict[str, Any], Act], Entry]] = {
    "report_found": _found,
    "mark_cleaned": _cleaned,
    "note": _note,
    "report_event": _event,
    "inspect_before_use": _inspected,
    "release": _released,
    "free_evidence": _released,
    "destroy": _destroyed,
}
