"""A file that comes in while something breaks or others write: all of it or nothing, and nothing lost."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import OperationalError, connection

from gear.actions import gearbook
from gear.actions.acting import Act
from gear.actions.committing import BY_COMMAND
from gear.ledger import verify
from gear.models import Crew, Depot, Entry, GearSet, Holder, ImportedFile, Item, ItemType, Label
from inspections.actions import testbook
from inspections.actions.testing import log_test
from inspections.models import ElectricalTest
from inspections.rules.testbook import TestRow
from tests import builders
from tests.books import bench_book, gear_book
from tests.faults.writing import FailNth

pytestmark = pytest.mark.django_db(transaction=True)
PAIR = [
    {"item_no": "G-1", "hand": "L", "set_no": "P-1"},
    {"item_no": "G-2", "hand": "R", "set_no": "P-1"},
]
JUMPERS = [
    {
        "item_no": f"J-{number}",
        "kind": "grounding_jumper",
        **dict.fromkeys(("cls", "hand", "size", "length_mm", "first_issued_on"), ""),
        "set_no": "S-1",
        "holder": "Rack",
        "holder_kind": "shelf",
    }
    for number in (1, 2)
]
BRING: dict[str, Callable] = {"gear": gearbook.commit, "tests": testbook.commit}


def bring(book: str, data: bytes):
    return BRING[book](f"{book}.csv", data, act=Act(None, via="import"), limits=BY_COMMAND)


def stored() -> tuple[int, ...]:
    models = (Item, ItemType, Entry, Label, Holder, Crew, Depot, GearSet, ImportedFile, ElectricalTest)
    return tuple(model.objects.count() for model in models)


@pytest.fixture(params=["gear", "tests"])
def file(request, tmp_path) -> tuple[str, bytes]:
    """A book and the content of a file of it that has three new rows."""
    gear = gear_book(tmp_path, *PAIR, JUMPERS[0]).read_bytes()
    if request.param == "gear":
        return "gear", gear
    bring("gear", gear)
    rows = [
        {"item_no": "G-1"},
        {"item_no": "G-2", "breakdown": "yes"},
        {"item_no": "G-1", "report_no": "R-2"},
    ]
    return "tests", bench_book(tmp_path, *rows).read_bytes()


def test_whatever_statement_fails_nothing_is_half_done(file):
    """FailNth over the commit; afterwards the same file goes in as if nothing had been."""
    book, data = file
    before, failed = stored(), 0
    for nth in range(1, 500):
        try:
            with connection.execute_wrapper(FailNth(nth)):
                bring(book, data)
            break
        except OperationalError:
            failed += 1
            assert stored() == before
    assert failed > 15
    assert stored() != before
    assert bring(book, data).totals["known"] == 3
    assert verify.verify() == []


@pytest.mark.parametrize("really", [False, True])
def test_an_error_at_commit_itself(file, monkeypatch, really):
    """FAULTS C14: whether the database committed or not, sending the file again leaves it stored once."""
    book, data = file
    before, honest = stored(), connection._commit

    def fail() -> None:
        if really:
            honest()
        raise OperationalError("I/O error")

    with monkeypatch.context() as patch:
        patch.setattr(connection, "_commit", fail)
        with pytest.raises(OperationalError):
            bring(book, data)
    connection.close()
    assert (stored() != before) == really
    assert bring(book, data).totals["known" if really else "new"] == 3
    assert verify.verify() == []


def together(*works: Callable[[], object]) -> list[Exception]:
    """Run these at the same moment, each with a connection of its own; the errors they raised."""
    barrier, errors = threading.Barrier(len(works)), []

    def run(work: Callable[[], object]) -> None:
        try:
            barrier.wait()
            work()
        except Exception as error:
            errors.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(work,)) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return errors


def test_two_people_bring_in_the_same_file_at_once(file):
    book, data = file
    reports = []
    assert together(*[lambda: reports.append(bring(book, data))] * 2) == []
    assert sorted(report.totals["new"] for report in reports) == [0, 3]
    assert verify.verify() == []


def test_two_files_enlarge_one_set_at_once(tmp_path):
    bring("gear", gear_book(tmp_path, *JUMPERS).read_bytes())
    more = [
        gear_book(tmp_path, {**JUMPERS[0], "item_no": f"J-{number}"}, name=f"{number}.csv").read_bytes()
        for number in (3, 4)
    ]
    assert together(*[lambda data=data: bring("gear", data) for data in more]) == []
    assert GearSet.objects.get(set_no="S-1").required == 4
    assert verify.verify() == []


def test_a_book_comes_in_while_somebody_works(tmp_path):
    """FAULTS B17: both are kept."""
    bring("gear", gear_book(tmp_path, *PAIR).read_bytes())
    glove = Item.objects.get(item_no="G-1")
    data = gear_book(tmp_path, *PAIR, {"item_no": "G-3"}).read_bytes()

    def work() -> None:
        for number in range(5):
            builders.happened(glove, "noted", note=f"look {number}")

    assert together(lambda: bring("gear", data), work) == []
    assert Entry.objects.filter(kind="noted").count() == 5
    assert Item.objects.count() == 3


def test_a_clerk_logs_the_test_that_a_file_brings_in(tmp_path, cast):
    """FAULTS B17: the same test is stored once, whoever was first."""
    bring("gear", gear_book(tmp_path, *PAIR).read_bytes())
    data = bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-2"}).read_bytes()
    glove = Item.objects.get(item_no="G-1")
    row: TestRow = testbook.plan("tests.csv", data, act=Act(None), limits=BY_COMMAND)[1].fresh[0]

    def work() -> None:
        log_test(glove, row.reading(), report_no=row.report_no or "", act=Act(cast.orla))

    assert together(lambda: bring("tests", data), work) == []
    assert ElectricalTest.objects.count() == Entry.objects.filter(kind="tested").count() == 2
    assert verify.verify() == []


def test_a_clerk_logs_a_failure_while_a_file_brings_in_passes(tmp_path, cast):
    bring("gear", gear_book(tmp_path, *PAIR).read_bytes())
    rows = [
        {"item_no": item_no, "report_no": f"R-{number}"} for number in range(40) for item_no in ("G-1", "G-2")
    ]
    data = bench_book(tmp_path, *rows).read_bytes()
    glove = Item.objects.get(item_no="G-1")
    row: TestRow = testbook.plan("tests.csv", data, act=Act(None), limits=BY_COMMAND)[1].fresh[0]
    reading = row.reading()

    def work() -> None:
        for number in range(4):
            failed = log_test(glove, reading, report_no=f"own {number}", act=Act(cast.orla))
            assert failed[0].outcome == "accepted"

    assert together(lambda: bring("tests", data), work) == []
    assert ElectricalTest.objects.count() == 84
    assert verify.verify() == []


def test_a_process_killed_in_the_middle_leaves_all_or_nothing(tmp_path):
    """FAULTS C01, a few moments of the many: the rerun of the same file adds exactly what is missing."""
    if connection.vendor == "sqlite":
        url = f"sqlite:///{connection.settings_dict['NAME']}"
    else:
        at = connection.settings_dict
        url = f"postgres://{at['USER']}:{at['PASSWORD']}@{at['HOST']}:{at['PORT']}/{at['NAME']}"
    rows = [
        {"item_no": f"G-{number:04d}", "set_no": f"P-{number // 2}", "hand": "LR"[number % 2]}
        for number in range(300)
    ]
    path = gear_book(tmp_path, *rows)
    manage = Path(__file__).resolve().parent.parent.parent / "manage.py"
    environment = {**os.environ, "DATABASE_URL": url, "DATA_DIR": str(tmp_path)}
    killed = 0
    for patience in (0.3, 1.3, 1.6, 1.9, 2.3):
        process = subprocess.Popen(
            [sys.executable, str(manage), "import_gear", str(path), "--commit"],
            env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        time.sleep(patience)
        process.send_signal(signal.SIGKILL)
        killed += process.wait() == -signal.SIGKILL
        assert Item.objects.count() in (0, 300)
        assert Entry.objects.filter(kind="received").count() == Item.objects.count() == Label.objects.count()
    assert killed > 0
    had = Item.objects.count()
    report = bring("gear", path.read_bytes())
    assert report.totals["new"] == 300 - had
    assert Item.objects.count() == 300
    assert verify.verify() == []
