"""A finished walk round a truck, as a phone sends it: the record of kind `load_check`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

from gear.actions.acting import Act
from gear.models import Holder
from gear.rules.readiness import GOOD, STOP, UNKNOWN
from inspections.actions.loads import Walk, record_walk
from inspections.field.kinds import BadRecord, Sent, text, words
from inspections.models import LoadList
from inspections.rules.loadlist import NO_CODE, STATES

VERDICTS = (GOOD, STOP, UNKNOWN)
MOST_PIECES = 2000
MOST_PEOPLE = 30
MOST_MS = 4_102_444_800_000  # 2100


def load_check(sent: Sent, act: Act) -> dict[str, Any]:
    """Keep a walk, once however often the phone finishes it. Body:

    {"walk": its own UUID, "truck": name, "started_ms", "finished_ms", "back_on": "2026-09-20", "crew": [names], "list":
    {"class", "version"} or null, "outcome", "data_as_of_ms" or null, "pieces": [{"no", "code", "state", "verdict",
    "reasons", "good_through", "as_of_ms", "age_s", "source", "taken"}], "short": [{"words", "count", "aboard"}]}
    """
    body = sent.body
    crew = words(body, "crew", most=MOST_PEOPLE)
    started, finished = _times(sent)
    walk = Walk(
        truck=_truck(text(body, "truck", most=80)),
        started_at=started,
        finished_at=finished,
        back_on=_day(body.get("back_on"), "back_on"),
        crew=tuple(crew),
        load_list=_list(body.get("list")),
        outcome=_one_of(body.get("outcome"), VERDICTS, "outcome"),
        pieces=tuple(_piece(one) for one in _rows(body, "pieces", most=MOST_PIECES)),
        short=tuple(_short(one) for one in _rows(body, "short", most=100)),
        data_as_of=_moment(body, "data_as_of_ms") if body.get("data_as_of_ms") is not None else None,
        people=tuple(Holder.objects.filter(kind="person", name__in=crew)),
    )
    row = record_walk(walk, act=replace(act, id=_uuid(body.get("walk"))))
    return {"load_check": str(row.pk), "outcome": row.outcome}


def _times(sent: Sent) -> tuple[datetime, datetime]:
    """When the walk began and ended, never after it was recorded.

    The newest walk of a truck speaks for it. Where the phone's clock cannot be believed, the walk ended when its record
    counts as having happened, and lasted as long as the phone says.
    """
    started, finished = _moment(sent.body, "started_ms"), _moment(sent.body, "finished_ms")
    lasted = max(finished - started, timedelta(0))
    if sent.flags or finished > sent.occurred_at:
        finished = sent.occurred_at
    return finished - lasted, finished


def _uuid(value: Any) -> UUID:
    try:
        return UUID(value)
    except (TypeError, ValueError, AttributeError):
        raise BadRecord("walk must be a UUID.") from None


def _truck(name: str) -> Holder:
    truck = Holder.objects.filter(kind="truck", name=name).select_related("crew", "depot").first()
    if truck is None:
        raise BadRecord("truck is no truck of this site.")
    return truck


def _list(stated: Any) -> LoadList | None:
    if stated is None:
        return None
    if not isinstance(stated, Mapping):
        raise BadRecord("list must name a class and a version, or be null.")
    found = LoadList.objects.filter(
        truck_class__name=str(stated.get("class")),
        version=_whole(stated.get("version"), "version", most=10**6),
    ).first()
    if found is None:
        raise BadRecord("list is no load list of this site.")
    return found


def _piece(one: Mapping[str, Any]) -> dict[str, Any]:
    state = _one_of(one.get("state"), STATES, "state")
    number = text(one, "no", most=40)
    if not number and state != NO_CODE:
        raise BadRecord("no is missing from a piece.")
    through = one.get("good_through")
    seen = state != "not_seen"
    return {
        "no": number,
        "code": text(one, "code", most=120),
        "state": state,
        "verdict": _one_of(one.get("verdict"), VERDICTS, "verdict") if seen else "",
        "reasons": words(one, "reasons", most=40),
        "good_through": _day(through, "good_through").isoformat() if through is not None else None,
        "as_of_ms": _whole(one.get("as_of_ms"), "as_of_ms", most=MOST_MS) if seen else None,
        "age_s": _whole(one.get("age_s"), "age_s", most=10**9) if seen else None,
        "source": text(one, "source", most=20),
        "taken": one.get("taken") is True,
    }


def _short(one: Mapping[str, Any]) -> dict[str, Any]:
    count, aboard = (_whole(one.get(name), name, most=10_000) for name in ("count", "aboard"))
    return {"words": text(one, "words", most=200), "count": count, "aboard": min(aboard, count)}


def _rows(body: Mapping[str, Any], name: str, *, most: int) -> list[Mapping[str, Any]]:
    rows = body.get(name, [])
    if not isinstance(rows, list) or len(rows) > most or not all(isinstance(one, dict) for one in rows):
        raise BadRecord(f"{name} must be a list of at most {most} objects.")
    return rows


def _one_of(value: Any, allowed: tuple[str, ...], name: str) -> str:
    if value not in allowed:
        raise BadRecord(f"{name} must be one of {', '.join(allowed)}.")
    return str(value)


def _whole(value: Any, name: str, *, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
        raise BadRecord(f"{name} must be a whole number from 0 to {most}.")
    return value


def _moment(body: Mapping[str, Any], name: str) -> datetime:
    return datetime.fromtimestamp(_whole(body.get(name), name, most=MOST_MS) / 1000, tz=UTC)


def _day(value: Any, name: str) -> date:
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise BadRecord(f"{name} must be a day like 2026-09-14.") from None
