"""A job and its findings as they are kept and read again: plain values, no sentence, nothing lost on the way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date
from decimal import Decimal
from typing import Any

from inspections.rules.job import Checked, Finding, Job, Offer, Want, checked

_NUMBERS = ("x_over_r", "fault_ka")


def job_to_json(job: Job) -> dict[str, Any]:
    """The fields of a job; numbers with a point and days as text."""
    stated = asdict(job)
    for name in (*_NUMBERS, "back_by"):
        stated[name] = None if stated[name] is None else str(stated[name])
    return stated


def job_from_json(stated: Mapping[str, Any]) -> Job:
    """The job again. Raises KeyError, TypeError or ValueError for what no job_to_json made."""
    plain = dict(stated)
    for name in _NUMBERS:
        plain[name] = None if plain[name] is None else Decimal(plain[name])
    plain["back_by"] = None if plain["back_by"] is None else date.fromisoformat(plain["back_by"])
    return Job(**plain)


def findings_to_json(found: Checked) -> list[dict[str, Any]]:
    return [_finding(one) for one in found.findings]


def findings_from_json(stated: Iterable[Mapping[str, Any]]) -> Checked:
    return checked(_read(one) for one in stated)


def _finding(one: Finding) -> dict[str, Any]:
    return {
        "part": one.part,
        "code": one.code,
        "verdict": one.verdict,
        "values": dict(one.values),
        "figures": [dict(figure) for figure in one.figures],
        "want": _want(one.want) if one.want else None,
        "offers": [_offer(offer) for offer in one.offers],
    }


def _want(want: Want) -> dict[str, Any]:
    classes = None if want.classes is None else list(want.classes)
    return {"kind": want.kind, "classes": classes, "size": want.size}


def _offer(offer: Offer) -> dict[str, Any]:
    last = offer.last_day.isoformat() if offer.last_day else None
    return {"name": offer.name, "class": offer.cls, "holder": dict(offer.holder), "last_day": last}


def _read(stated: Mapping[str, Any]) -> Finding:
    want = stated["want"]
    return Finding(
        stated["part"],
        stated["code"],
        stated["verdict"],
        stated["values"],
        tuple(stated["figures"]),
        want and Want(want["kind"], _classes(want["classes"]), want["size"]),
        tuple(_read_offer(one) for one in stated["offers"]),
    )


def _classes(stated: list[str] | None) -> tuple[str, ...] | None:
    return None if stated is None else tuple(stated)


def _read_offer(stated: Mapping[str, Any]) -> Offer:
    last = stated["last_day"]
    return Offer(
        stated["name"], stated["class"], stated["holder"], date.fromisoformat(last) if last else None
    )
