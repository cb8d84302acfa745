"""Measure what phones ask of the service (signed data, one answer, 50 records sent), and a phone in a real browser."""

from __future__ import annotations

import json
import os
import statistics
import time
from collections.abc import Callable, Iterator
from typing import Any
from uuid import uuid4

from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.crypto import get_random_string

from gear import queries
from gear.ledger import Draft, record_many
from gear.models import Crew, Depot, Holder, Item, Label, User
from reports.actions import bench_browser, bench_fleet, bench_server

ROUNDS = 5
NONCE = "a-nonce-of-the-bench"
RECORDS = 50  # the most that one sending may hold
ABOARD = 34  # pieces of a truck walk


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser) -> None:
        parser.add_argument("--items", type=int, default=3_500, help="how many items the depot has")
        parser.add_argument("--rounds", type=int, default=20, help="how often the browser does each job")

    def handle(self, *, items: int, rounds: int, **_options) -> None:
        if Item.objects.exists():
            raise CommandError(
                "The bench fills an empty database. Point DATA_DIR or DATABASE_URL at an empty one."
            )
        bench_fleet.build(items)
        phone = _phone()
        self.stdout.write(f"{items} items on {connection.vendor}\n")
        self.stdout.write(f"{'job':<34}{'median ms':>12}{'bytes':>12}{'gzip bytes':>12}{'queries':>9}")
        for job, ask in _jobs(phone):
            ms, answer, count = _measured(ask)
            plain = ask().content
            packed = len(answer.content) if answer.headers.get("Content-Encoding") == "gzip" else "-"
            self.stdout.write(f"{job:<34}{ms:>12.1f}{len(plain):>12}{packed:>12}{count:>9}")
        self._in_a_browser(items, rounds)

    def _in_a_browser(self, items: int, rounds: int) -> None:
        self.stdout.write(f"\nIn the browser of a phone that holds {items} items. {bench_browser.HOW}")
        try:
            self.stdout.write(
                f"{'job':<34}{'goal ms':>10}{'median ms':>12}{'slowest ms':>12}{'n':>5}{'load':>7}"
            )
            with bench_server.serving() as address:
                for line in bench_browser.timed(address, _case(rounds), rounds=rounds):
                    self.stdout.write(
                        f"{line.job:<34}{line.goal or '-':>10}{statistics.median(line.ms):>12.0f}"
                        f"{max(line.ms):>12.0f}{len(line.ms):>5}{os.getloadavg()[0]:>7.1f}"
                    )
        except (bench_browser.NotMeasured, bench_server.NotStarted) as error:
            self.stdout.write(f"not measured: {error}")


def _phone() -> Client:
    """The own phone of a worker of the first crew, enrolled as a phone enrols itself."""
    crew = Crew.objects.order_by("pk")[0]
    worker = User.objects.create_user("bench-phone", password=None, role="worker", crew=crew)
    phone = Client(SERVER_NAME="localhost")
    phone.force_login(worker)
    _ok(phone.post("/truck/enrol/"))
    return phone


def _case(rounds: int) -> bench_browser.Case:
    """Somebody who can sign in, and good pieces to scan: some of them on a truck, as many as one carries."""
    password = get_random_string(20)
    User.objects.create_user(
        "bench-browser", password=password, role="foreman", crew=Crew.objects.order_by("pk")[0]
    )
    numbers = list(
        Item.objects.order_by("item_no").values_list("item_no", flat=True)[: 4 * (3 * rounds + ABOARD)]
    )
    good = [one.item_no for one in queries.answers(numbers, queries.question()) if one.verdict == "good"]
    aboard, ashore = good[:ABOARD], good[ABOARD:]
    depot = Depot.objects.get()
    truck = Holder.objects.create(kind="truck", name="Bench truck", depot=depot)
    moved = Item.objects.filter(item_no__in=aboard)
    record_many([Draft(one, "moved", {"holder": truck.as_fact()}) for one in moved], by=None, via="system")
    codes = dict(Label.objects.values_list("item__item_no", "code"))
    return bench_browser.Case(
        "bench-browser",
        password,
        depot.name,
        [codes[one] for one in ashore],
        truck.name,
        [codes[one] for one in aboard],
    )


def _jobs(phone: Client) -> Iterator[tuple[str, Callable[..., Any]]]:
    """(name, what is asked; keywords are headers) of each line of the table."""
    depot, code = Depot.objects.get().name, Label.objects.order_by("code")[0].code
    numbers = list(Item.objects.order_by("item_no").values_list("item_no", flat=True)[:RECORDS])

    def bundle(**scope: str) -> Callable[..., Any]:
        return lambda **headers: _ok(
            phone.get("/truck/bundle/", {"nonce": NONCE, **scope}, headers=headers or None)
        )

    yield "data of one crew", bundle(scope="crew")
    yield "data of the whole depot", bundle(scope="depot", name=depot)
    yield (
        "live answer to one code",
        lambda **headers: _ok(phone.get(f"/truck/answer/{code}/", {"nonce": NONCE}, headers=headers or None)),
    )
    yield f"{RECORDS} records sent", lambda **headers: _sent(phone, numbers)


def _sent(phone: Client, numbers: list[str]) -> Any:
    now_ms = int(timezone.now().timestamp() * 1000)
    records = [_record(number, now_ms) for number in numbers]
    body = {"v": 1, "nonce": NONCE, "device_now_ms": now_ms, "unsent": 0, "records": records}
    answer = _ok(phone.post("/truck/sync/", json.dumps(body), content_type="application/json"))
    refused = [one for one in answer.json()["results"] if one["outcome"] != "recorded"]
    if refused:
        raise CommandError(f"A record of the bench was answered with {refused[0]}.")
    return answer


def _record(number: str, now_ms: int) -> dict[str, Any]:
    """That an answer was shown, as a phone tells it."""
    told = {"verdict": "good", "as_of_ms": now_ms, "data_age_s": 60, "source": "phone"}
    return {
        "id": str(uuid4()),
        "kind": "answered",
        "item": number,
        "person": "bench-phone",
        "proof": None,
        "occurred_at": timezone.now().isoformat(),
        "told": told,
        "code": number,
        "reasons": [],
        "last_day": None,
        "rule_pack": "us_federal 1",
    }


def _measured(ask: Callable[..., Any]) -> tuple[float, Any, int]:
    """Median ms of asking as a browser does (packed), the last answer, and its number of queries."""
    taken = []
    for _round in range(ROUNDS):
        began = time.perf_counter()
        answer = ask(accept_encoding="gzip")
        taken.append((time.perf_counter() - began) * 1000)
    with CaptureQueriesContext(connection) as captured:
        ask(accept_encoding="gzip")
    return statistics.median(taken), answer, len(captured)


def _ok(response: Any) -> Any:
    if response.status_code != 200:
        raise CommandError(f"{response.request['PATH_INFO']} was answered with {response.status_code}.")
    return response
