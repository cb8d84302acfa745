"""Measure the service on 200,000 items beside raw SQL and an empty view, in one run, and print the table."""

from __future__ import annotations

import csv
import io
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import count
from pathlib import Path
from uuid import uuid4

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from gear import queries
from gear.actions.acting import Act
from gear.models import Item, ItemState, Label, User
from inspections.actions.bench_sessions import Particulars, open_session
from inspections.actions.testing import log_test
from inspections.rules.acceptance import Reading
from inspections.rules.testbook import COLUMNS
from reports.actions import bench_fleet

SCAN_ROUNDS, SLOW_ROUNDS = 200, 4
RAW_ONE = (
    "SELECT i.item_no, t.kind, s.condition, s.good_through, h.name FROM gear_item i"
    " JOIN gear_itemtype t ON t.id = i.item_type_id JOIN gear_itemstate s ON s.item_id = i.id"
    " LEFT JOIN gear_holder h ON h.id = s.holder_id WHERE i.item_no IN ({marks})"
)
RAW_OVERDUE = (
    "SELECT i.item_no, t.kind, t.class, s.good_through, h.name, c.name FROM gear_itemstate s"
    " JOIN gear_item i ON i.id = s.item_id JOIN gear_itemtype t ON t.id = i.item_type_id"
    " LEFT JOIN gear_holder h ON h.id = s.holder_id LEFT JOIN gear_crew c ON c.id = h.crew_id"
    " WHERE s.good_through < %s OR s.condition <> 'ok' ORDER BY c.name, s.good_through, i.item_no"
)


@dataclass
class Line:
    """One line of the table: medians in ms and the number of queries."""

    job: str
    ms: float
    baseline: str
    baseline_ms: float
    query_count: int | str


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser) -> None:
        parser.add_argument("--items", type=int, default=200_000, help="how many items the book has")
        parser.add_argument("--tests", type=int, default=100_000, help="how many tests the import has")

    def handle(self, *, items: int, tests: int, **_options) -> None:
        if Item.objects.exists():
            raise CommandError(
                "The bench fills an empty database. Point DATA_DIR or DATABASE_URL at an empty one."
            )
        began = time.perf_counter()
        bench_fleet.build(items)
        self.stdout.write(
            f"{items} items built in {time.perf_counter() - began:.0f} s on {connection.vendor}\n"
        )
        clerk = User.objects.create_user("bench-clerk", password=None, role="clerk")
        self.stdout.write(
            f"{'job':<34}{'median ms':>12}{'beside':>30}{'median ms':>12}{'ratio':>8}{'queries':>9}"
        )
        for line in self._lines(clerk, tests):
            ratio = line.ms / line.baseline_ms if line.baseline_ms else 0
            self.stdout.write(
                f"{line.job:<34}{line.ms:>12.2f}{line.baseline:>30}{line.baseline_ms:>12.3f}"
                f"{ratio:>8.1f}{line.query_count:>9}"
            )

    def _lines(self, clerk: User, tests: int) -> Iterator[Line]:
        numbers = list(Item.objects.order_by("item_no").values_list("item_no", flat=True)[:60_000:1000])
        yield self._scan(clerk)
        yield self._sixty(numbers)
        yield self._report_csv()
        yield self._fleet()
        yield self._log_one(clerk)
        yield self._find_pair(clerk)
        yield self._bench_row(clerk)
        yield from self._read()
        yield self._import(tests)

    def _scan(self, clerk: User) -> Line:
        codes = list(Label.objects.order_by("code").values_list("code", flat=True)[:SCAN_ROUNDS])
        client, hello = _client(clerk), _hello()
        rounds = iter(codes)
        ms, base = _alternate(lambda: _ok(client.get(f"/t/{next(rounds)}")), hello, SCAN_ROUNDS)
        return Line(
            "scan one label (page)",
            ms,
            "sign-in page",
            base,
            _count(lambda: client.get(f"/t/{codes[0]}")),
        )

    def _sixty(self, numbers: list[str]) -> Line:
        numbers = numbers[:60]
        sql = RAW_ONE.format(marks=", ".join(["%s"] * len(numbers)))

        def ask():
            return queries.answers(numbers, queries.question())

        ms, base = _alternate(ask, lambda: _rows(sql, numbers), 30)
        return Line("answers about 60 items", ms, "raw SQL of the same 60", base, _count(ask))

    def _report_csv(self) -> Line:
        def report():
            with tempfile.TemporaryDirectory() as folder:
                call_command("overdue_report", format="csv", output=str(Path(folder) / "report.csv"))

        def raw():
            csv.writer(io.StringIO()).writerows(_rows(RAW_OVERDUE, [timezone.now().date()]))

        ms, base = _alternate(report, raw, SLOW_ROUNDS)
        return Line("weekly report, CSV", ms, "raw SQL + csv.writer", base, _count(report))

    def _fleet(self) -> Line:
        def fleet():
            return sum(1 for _ in queries.fleet(queries.question()))

        ms, base = _alternate(
            fleet, lambda: _rows("SELECT item_id, facts FROM gear_itemstate", []), SLOW_ROUNDS
        )
        return Line("fleet list, every answer", ms, "raw SQL of every state", base, _count(fleet))

    def _log_one(self, clerk: User) -> Line:
        gloves = iter(Item.objects.filter(item_type__kind="glove").order_by("pk")[: SCAN_ROUNDS + 10])

        def log():
            reading = Reading(
                timezone.now().date() - timedelta(days=1),
                "in_service",
                "ac",
                20_000,
                60,
                Decimal("9.8"),
                visual="accept",
                breakdown=False,
                flashover=False,
            )
            log_test(next(gloves), reading, act=Act(clerk))

        ms, base = _alternate(log, _raw_write, SCAN_ROUNDS)
        return Line("log one test", ms, "raw INSERT, committed", base, _count(log))

    def _find_pair(self, clerk: User) -> Line:
        client, hello = _client(clerk), _hello()

        def find():
            _ok(client.get("/counter/pair/", {"kind": "glove", "cls": "2", "size": "10", "floor": "28"}))

        ms, base = _alternate(find, hello, SLOW_ROUNDS)
        return Line("find a pair now (page)", ms, "sign-in page", base, _count(find))

    def _bench_row(self, clerk: User) -> Line:
        today = timezone.now().date()
        session = open_session(Particulars(today, "bench", "meter", "in_service"), act=Act(clerk))
        client, address = _client(clerk), f"/bench/{session.number}/rows/"
        gloves = iter(Item.objects.filter(item_type__kind="glove").order_by("-pk")[: SCAN_ROUNDS + 10])

        def save():
            row = {"id": uuid4(), "scan": next(gloves).item_no, "reading": f"{9 + next(steps) % 7 / 10:.1f}"}
            _ok(client.post(address, row, headers={"accept": "application/json"}))

        steps = count()
        ms, base = _alternate(save, _raw_write, SCAN_ROUNDS)
        return Line("save a row at the bench", ms, "raw INSERT, committed", base, _count(save))

    def _read(self) -> Iterator[Line]:
        """What supervisor and auditor open, each once after nothing of it was read before, beside the sign-in page."""
        client, hello = _client(User.objects.create_user("bench-auditor", role="auditor")), _hello()
        past = timezone.localtime() - timedelta(days=7)
        item = Item.objects.order_by("pk").values_list("item_no", flat=True)[Item.objects.count() // 2]
        as_of = {"item": item, "at": past.strftime("%Y-%m-%dT%H:%M")}
        for job, name, asked in (
            ("record as of a moment (page)", "record_of", as_of),
            ("record as of a moment, PDF", "record_pdf", as_of),
            ("this week (page)", "week", {}),
            ("weekly report (page)", "overdue_report", {}),
            ("weekly report, PDF", "overdue_report_pdf", {}),
            ("coming 13 weeks (page)", "coming_weeks", {"weeks": "13"}),
            ("book a week ago, both ways", "fleet_as_of", {"as_of": past.date().isoformat()}),
        ):
            address = reverse(name)
            _ok(hello())
            began = time.perf_counter()
            with CaptureQueriesContext(connection) as captured:
                answer = client.get(address, asked)
                b"".join(answer)
            ms = (time.perf_counter() - began) * 1000
            _ok(answer)
            asked_for = len(captured)  # before another request empties the list
            yield Line(job, ms, "sign-in page", _once(hello), asked_for)

    def _import(self, tests: int) -> Line:
        numbers = ItemState.objects.filter(item__item_type__kind="glove").order_by("-pk")
        found = list(numbers.values_list("item__item_no", flat=True)[:tests])
        while len(found) < tests:
            found += found[: tests - len(found)]
        content = _test_file(found)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "tests.csv"
            path.write_text(content)
            began = time.perf_counter()
            with CaptureQueriesContext(connection) as captured:
                call_command("import_tests", str(path), commit=True, stdout=io.StringIO())
            ms = (time.perf_counter() - began) * 1000
        began = time.perf_counter()
        list(csv.reader(io.StringIO(content)))
        return Line(
            f"import of {tests} tests",
            ms,
            "csv.reader alone",
            (time.perf_counter() - began) * 1000,
            f"{len(captured)}",
        )


def _alternate(subject: Callable, baseline: Callable, rounds: int) -> tuple[float, float]:
    """Median ms of both, run in turn so that a change of the machine's speed meets both."""
    subject(), baseline()
    taken: tuple[list[float], list[float]] = ([], [])
    for _ in range(rounds - 1):
        for times, call in zip(taken, (subject, baseline), strict=True):
            began = time.perf_counter()
            call()
            times.append((time.perf_counter() - began) * 1000)
    return statistics.median(taken[0]), statistics.median(taken[1])


def _once(call: Callable) -> float:
    began = time.perf_counter()
    call()
    return (time.perf_counter() - began) * 1000


def _count(call: Callable) -> int:
    with CaptureQueriesContext(connection) as captured:
        call()
    return len(captured)


def _rows(sql: str, values: list) -> list:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.fetchall()


def _client(person: User) -> Client:
    """A signed-in browser; scans of strangers are throttled."""
    client = Client(SERVER_NAME="localhost")
    client.force_login(person)
    return client


def _hello() -> Callable:
    """The sign-in page: a view without a query of its own, under the same middleware."""
    client = Client(SERVER_NAME="localhost")
    return lambda: client.get("/login/")


def _ok(response) -> None:
    if response.status_code != 200:
        raise CommandError(f"{response.request['PATH_INFO']} was answered with {response.status_code}.")


def _raw_write() -> None:
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO gear_depot (name) VALUES (%s)", [f"bench {time.perf_counter_ns()}"])


def _test_file(numbers: list[str]) -> str:
    on = date.today() - timedelta(days=2)  # noqa: DTZ011  a bench has no site
    lines = [",".join(COLUMNS)]
    for index, number in enumerate(numbers):
        cells = {
            "item_no": number,
            "tested_on": on.isoformat(),
            "purpose": "in_service",
            "supply": "ac",
            "applied_v": "20000",
            "seconds": "60",
            "leakage_ma": f"{8 + index % 50 / 10:.1f}",
            "visual": "accept",
            "breakdown": "no",
            "flashover": "no",
            "report_no": f"R-{index}",
        }
        lines.append(",".join(cells.get(name, "") for name in COLUMNS))
    return "\n".join(lines) + "\n"
