"""Phones for tests of the phone client: enrolled, and asking and sending as a phone does."""

from __future__ import annotations

import base64
import json
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from django.test import Client
from django.utils import timezone

from gear.models import Depot, Holder, Item, User
from inspections.actions.devices import digest_of
from inspections.field import signing
from inspections.field.callers import COOKIE
from inspections.models import Device
from tests.builders import holder, issued, pair, tested

NONCE = "a-nonce-of-this-test"


def phone_of(person: User, *, days_ago: int = 30) -> Client:
    """A browser on a person's own phone, signed in, enrolled some days ago."""
    browser = Client()
    browser.force_login(person)
    device = browser.post("/truck/enrol/", "{}", content_type="application/json").json()["device"]["name"]
    when = timezone.now() - timedelta(days=days_ago)
    Device.objects.filter(name=device).update(added_at=when, enrolled_at=when)
    return browser


def tablet_of(depot: Depot | None, by: User, *, key: str = "tablet") -> Client:
    """A browser on a shared tablet of a depot, where nobody is signed in."""
    since = timezone.now() - timedelta(days=30)
    Device.objects.create(
        name=f"Tablet {key}",
        kind="shared",
        depot=depot,
        digest=digest_of(key),
        added_at=since,
        added_by=by,
        enrolled_at=since,
    )
    browser = Client()
    browser.cookies[COOKIE] = key
    return browser


def opened(response: Any) -> dict[str, Any]:
    """What the signed text says; fails where the signature is not one of the public key."""
    envelope = response.json()
    point = base64.b64decode(signing.public_key())
    raw = base64.b64decode(envelope["signature"])
    signature = encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    key = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), point)
    key.verify(signature, envelope["text"].encode(), ec.ECDSA(hashes.SHA256()))
    return json.loads(envelope["text"])


def bundle(browser: Client, **asked: str) -> dict[str, Any]:
    return opened(browser.get("/truck/bundle/", {"nonce": NONCE, **asked}))


def live(browser: Client, code: str) -> dict[str, Any]:
    return opened(browser.get(f"/truck/answer/{code}/", {"nonce": NONCE}))


def record(
    kind: str, item: Item | None = None, *, person: str | None = "dev", **fields: Any
) -> dict[str, Any]:
    """A record as a phone makes it, of now."""
    stated = {
        "id": str(uuid4()),
        "kind": kind,
        "item": item.item_no if item else None,
        "person": person,
        "proof": None,
        "occurred_at": at(timezone.now()),
        "told": None,
    }
    return {**stated, **fields}


def answered(item: Item | None, verdict: str = "good", **fields: Any) -> dict[str, Any]:
    told = {"verdict": verdict, "as_of_ms": 0, "data_age_s": 3600, "source": "phone"}
    return record("answered", item, **{"told": told, "code": "", "reasons": [], "last_day": None, **fields})


def send(browser: Client, *records: Any, **more: Any) -> Any:
    now = int(timezone.now().timestamp() * 1000)
    body = {
        "v": 1,
        "nonce": NONCE,
        "device_now_ms": now,
        "unsent": len(records),
        "records": list(records),
        **more,
    }
    return browser.post("/truck/sync/", json.dumps(body), content_type="application/json")


def outcomes(response: Any) -> list[tuple[str, str]]:
    return [(one["outcome"], one["code"]) for one in response.json()["results"]]


def at(moment: datetime) -> str:
    return moment.isoformat(timespec="milliseconds")


def truck(name: str = "T-01") -> Holder:
    return holder("truck", name)


def good_pair(to: Holder, *, tested_on: date, cls: str = "2") -> tuple[Item, Item]:
    """Two gloves, tested and issued on a day; both good for six months from then."""
    left, right = pair(cls=cls)
    tested(left, right, on=tested_on)
    issued(left, right, on=tested_on, to=to)
    return left, right
