"""The gear book comes in from a file: strict, all or nothing, repeatable, and told line by line."""

import io
import json
import re

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from gear.actions import gearbook
from gear.actions.acting import Act
from gear.actions.committing import BY_COMMAND, BY_PAGE, Limits
from gear.actions.corrections import correct, replacement
from gear.ledger import verify
from gear.models import (
    Crew,
    Depot,
    Entry,
    GearSet,
    Holder,
    ImportedFile,
    Item,
    ItemType,
    Label,
    Refusal,
)
from gear.permissions import NotAllowed
from gear.rules import codes
from tests import builders
from tests.books import gear_book, workbook
from tests.bringing import imported, refused

pytestmark = pytest.mark.django_db
RECEIVED, ISSUED = "2026-01-05", "2026-02-01"
PAIR = [
    {"item_no": "G-1", "hand": "L", "set_no": "P-1"},
    {"item_no": "G-2", "hand": "R", "set_no": "P-1"},
]


def stored() -> dict[str, int]:
    tables = (Item, ItemType, Entry, Label, Holder, Crew, Depot, GearSet, ImportedFile)
    return {model.__name__: model.objects.count() for model in tables}


# Dry run and commit


def test_a_dry_run_is_the_default_tells_every_line_and_stores_nothing(tmp_path):
    path = gear_book(tmp_path, *PAIR, {"item_no": "B-1", "kind": "blanket", "hand": ""})
    told = imported("gear", path)
    assert re.findall(r"line (\d+): (\S+) (\w+)", told) == [
        ("2", "G-1", "new"),
        ("3", "G-2", "new"),
        ("4", "B-1", "new"),
    ]
    assert "depots to be made, 1: Harbour depot" in told
    assert "crews to be made, 1: Crew 7" in told
    assert "holders to be made, 2: person Dev; shelf Tool room, Harbour depot" in told
    assert "sets to be made, 1: P-1" in told
    assert "3 lines: 3 new, 0 known, 0 refused" in told
    assert set(stored().values()) == {0}
    assert not Refusal.objects.exists()


def test_a_commit_stores_items_with_type_label_set_and_the_file_itself(tmp_path):
    path = gear_book(tmp_path, *PAIR)
    assert "Stored." in imported("gear", path, "--commit")
    assert stored() == {
        "Item": 2,
        "ItemType": 1,
        "Entry": 9,  # received, labelled, joined, issued each, and the set formed
        "Label": 2,
        "Holder": 2,
        "Crew": 1,
        "Depot": 1,
        "GearSet": 1,
        "ImportedFile": 1,
    }
    kept = ImportedFile.objects.get()
    assert bytes(kept.content) == path.read_bytes()
    assert (kept.book, kept.name, kept.rows_new, kept.rows_known) == ("gear", "gear.csv", 2, 0)
    assert all(codes.is_valid(label.code) for label in Label.objects.all())
    assert {one.via for one in Entry.objects.all()} == {"import"}
    assert verify.verify() == []


def test_repeating_a_file_adds_nothing_and_is_no_failure(tmp_path):
    path = gear_book(tmp_path, *PAIR)
    imported("gear", path, "--commit")
    before = stored()
    told = imported("gear", path, "--commit")
    assert "0 new, 2 known, 0 refused" in told
    assert stored() == before


def test_a_file_that_overlaps_adds_what_is_missing(tmp_path):
    imported("gear", gear_book(tmp_path, *PAIR), "--commit")
    told = imported("gear", gear_book(tmp_path, *PAIR, {"item_no": "G-3"}), "--commit")
    assert "1 new, 2 known, 0 refused" in told
    assert Item.objects.count() == 3


def test_what_happened_since_does_not_make_a_row_differ(tmp_path, cast):
    path = gear_book(tmp_path, *PAIR)
    imported("gear", path, "--commit")
    glove = Item.objects.get(item_no="G-1")
    builders.happened(glove, "returned", holder=builders.holder().as_fact())
    entry = Entry.objects.get(item=glove, kind="received")
    facts = {**entry.facts, "identity": {**entry.facts["identity"], "size": "11"}}
    correct(entry, new=replacement(entry, facts=facts), reason="read again", act=Act(cast.ines))
    assert "0 new, 2 known, 0 refused" in imported("gear", path, "--commit")


@pytest.mark.parametrize(
    "change",
    [
        {"size": "11"},
        {"holder": "Marisol"},
        {"received_on": "2026-01-06"},
        {"first_issued_on": ""},
        {"condition": "held"},
        {"set_no": "P-2"},
        {"crew": ""},
        {"marked_expiry_on": "2030-01-01"},
    ],
)
def test_a_row_that_differs_from_what_was_registered_refuses_the_file(tmp_path, change):
    imported("gear", gear_book(tmp_path, *PAIR), "--commit")
    before = stored()
    told = refused(
        "gear", gear_book(tmp_path, {**PAIR[0], **change}, PAIR[1], {"item_no": "G-3"}), "--commit"
    )
    assert "line 2: G-1 refused: item_no G-1 is in the book" in told
    assert "line 3: G-2 known" in told
    assert "line 4: G-3 new" in told
    assert "Nothing was stored" in told
    assert stored() == before


def test_one_bad_line_of_many_stores_nothing_and_keeps_the_refusal(tmp_path):
    """FAULTS G10."""
    rows = [{"item_no": f"B-{number}", "kind": "blanket", "hand": ""} for number in range(50)]
    rows[31] = {**rows[31], "cls": "7"}
    told = refused("gear", gear_book(tmp_path, *rows), "--commit")
    assert "line 33: B-31 refused: class is 7." in told
    assert "50 lines: 49 new, 0 known, 1 refused" in told
    assert set(stored().values()) == {0}
    assert Refusal.objects.get().code == "LINES_REFUSED"


@pytest.mark.parametrize(
    ("columns", "cell", "sentence"),
    [
        ({"kind": "mitten"}, "kind", "must be one of"),
        ({"kind": ""}, "kind", "is missing"),
        ({"item_no": ""}, "item_no", "is missing"),
        ({"holder": ""}, "holder", "is missing"),
        ({"holder_kind": "van"}, "holder_kind", "must be one of"),
        ({"hand": "left"}, "hand", "must be one of"),
        ({"type": "1"}, "type", "must be one of"),
        ({"length_mm": "14"}, "length_mm", "another unit"),
        ({"length_mm": "-360"}, "length_mm", "negative"),
        ({"made_on": "01/02/2026"}, "made_on", "not a date"),
        ({"made_on": "46023"}, "made_on", "spreadsheet"),
        ({"made_on": "2099-01-01"}, "made_on", "future"),
        ({"received_on": "2026-03-01"}, "first_issued_on", "before received_on"),
        ({"cable_size": "4/0"}, "cable_size", "does not belong"),
        ({"condition": "broken"}, "condition", "must be one of"),
        ({"serial": "a\u200bb"}, "serial", "cannot be seen"),
        ({"rated_kv": "1e3"}, "rated_kv", "plain number"),
        ({"rated_kv": "NaN"}, "rated_kv", "plain number"),
    ],
)
def test_a_bad_cell_is_named_with_its_line(tmp_path, columns, cell, sentence):
    told = refused("gear", gear_book(tmp_path, {"item_no": "G-9", **columns}))
    line = next(line for line in told.splitlines() if line.startswith("line 2:"))
    assert "refused" in line
    assert cell in line
    assert sentence in line


def test_every_problem_of_a_line_is_told_in_that_line(tmp_path):
    told = refused(
        "gear", gear_book(tmp_path, {"item_no": "G-9", "cls": "7", "length_mm": "14", "hand": "X"})
    )
    (line,) = [line for line in told.splitlines() if line.startswith("line 2:")]
    assert all(name in line for name in ("class is 7", "length_mm looks", "hand is X"))


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "empty"),
        (b"item_no;kind;holder;holder_kind\nG-1;glove;Dev;person\n", "semicolons"),
        ("item_no,kind,holder,holder_kind\n".encode("utf-16"), "not UTF-8"),
        ("item_no,kind,holder,holder_kind\nG-1,glove,D\xe9v,person\n".encode("cp1252"), "byte"),
        (b"item_no,kind,holder\nG-1,glove,Dev\n", "missing: holder_kind"),
        (b"item_no,kind,kind,holder,holder_kind\n", "twice"),
        (b"item_no,kind,holder,holder_kind,weight\n", "Unknown columns: weight"),
        (b'item_no,kind,holder,holder_kind\nG-1,glove,"Dev,person\nG-2,glove,Dev,person\n', "line 2"),
        (b"item_no,kind,holder,holder_kind\nG-1,gl\x00ove,Dev,person\n", "NUL"),
        (b"PK\x03\x04 no workbook", "workbook"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_whole(tmp_path, content, sentence):
    path = tmp_path / "gear.csv"
    path.write_bytes(content)
    for options in ((), ("--commit",)):
        assert sentence in refused("gear", path, *options)
    assert set(stored().values()) == {0}
    assert Refusal.objects.count() == 1  # of the commit


def test_a_missing_file_is_one_sentence(tmp_path):
    assert "cannot be read" in refused("gear", tmp_path / "nowhere.csv")


def test_too_many_rows_or_bytes_are_refused_before_anything_is_read(tmp_path):
    data = gear_book(tmp_path, *PAIR).read_bytes()
    assert (BY_PAGE.bytes, BY_PAGE.rows, BY_COMMAND.rows) == (10 * 1024 * 1024, 50_000, 200_000)
    for limits in (Limits(10, 50_000), Limits(10_000, 1)):
        with pytest.raises(gearbook.tables.FileRefused, match="Split it"):
            gearbook.dry_run("gear.csv", data, act=Act(None), limits=limits)


def test_a_workbook_is_read_like_a_csv(tmp_path):
    path = workbook(tmp_path, "gear", *PAIR)
    imported("gear", path, "--commit")
    assert "2 known" in imported("gear", gear_book(tmp_path, *PAIR), "--commit")


def test_json_says_the_same_as_text(tmp_path):
    path = gear_book(tmp_path, PAIR[0], {"item_no": "G-2", "cls": "9"})
    out = io.StringIO()
    with pytest.raises(CommandError):
        call_command("import_gear", str(path), "--format", "json", stdout=out)
    told = json.loads(out.getvalue())
    assert told["totals"] == {"lines": 2, "new": 1, "known": 0, "refused": 1, "notes": 0}
    assert [(row["line"], row["fate"]) for row in told["rows"]] == [(2, "new"), (3, "refused")]
    assert told["rows"][1]["problems"][0]["field"] == "class"
    assert told["creates"]["crews"] == ["Crew 7"]
    assert told["committed"] is False


def test_a_hostile_cell_cannot_steer_the_terminal(tmp_path):
    told = refused("gear", gear_book(tmp_path, {"item_no": "G-1", "hand": "\x1b[2J\x07"}))
    assert told.isprintable() or set(re.findall(r"[^\x20-\x7e]", told)) <= {"\n", "\N{REPLACEMENT CHARACTER}"}


# Who may


@pytest.mark.parametrize("who", ["dev", "bertrand", "ines", "halvard"])
def test_only_clerks_and_administrators_bring_in_files(tmp_path, cast, who):
    data = gear_book(tmp_path, *PAIR).read_bytes()
    for bring in (gearbook.dry_run, gearbook.commit):
        with pytest.raises(NotAllowed):
            bring("gear.csv", data, act=Act(getattr(cast, who)), limits=BY_PAGE)
    assert Item.objects.count() == 0


def test_a_clerk_of_one_depot_brings_in_gear_of_no_other(tmp_path, cast):
    """FAULTS G17."""
    cast.orla.depot = cast.depot
    data = gear_book(
        tmp_path, PAIR[0], {"item_no": "B-1", "kind": "blanket", "hand": "", "depot": "Upland"}
    ).read_bytes()
    report = gearbook.commit("gear.csv", data, act=Act(cast.orla, via="import"), limits=BY_PAGE)
    assert [fate.word for fate in report.fates] == ["new", "refused"]
    assert report.fates[1].problems[0].code == "OUTSIDE_DEPOT"
    assert Item.objects.count() == 0


# Many rows, many writers, breakdowns


def book_of(count: int) -> list[dict]:
    return [
        {
            "item_no": f"G-{number:05d}",
            "hand": "LR"[number % 2],
            "set_no": f"P-{number // 2:05d}",
            "holder": f"Worker {number % 40}",
            "crew": f"Crew {number % 8}",
            "size": str(8 + number % 5 // 2),
        }
        for number in range(count)
    ]


def test_reads_do_not_grow_with_rows_and_writes_go_in_batches(tmp_path):
    reads, writes = [], []
    for number, rows in enumerate((40, 320)):
        path = tmp_path / str(number)
        path.mkdir()
        book = [
            {**row, "item_no": f"{number}-{row['item_no']}", "set_no": f"{number}-{row['set_no']}"}
            for row in book_of(rows)
        ]
        data = gear_book(path, *book).read_bytes()
        with CaptureQueriesContext(connection) as made:
            gearbook.commit("gear.csv", data, act=Act(None, via="import"), limits=BY_COMMAND)
        selects = sum(one["sql"].startswith("SELECT") for one in made)
        reads.append(selects)
        writes.append(len(made) - selects)
    assert reads[1] <= reads[0] + 4  # a batch more of label codes and entry ids
    assert writes[1] - writes[0] < 280 / 8  # SQLite takes 999 values a statement: some sixty entries
    assert Item.objects.count() == 360


def test_3500_dirty_rows_get_a_report_on_every_row(tmp_path):
    """FEATURES 77: each line of the report is one row, with its fate and every reason."""
    rows = book_of(3500)
    for number in range(0, 3500, 7):
        rows[number] = {**rows[number], "length_mm": "14", "made_on": "3/4/2026"}
    told = refused("gear", gear_book(tmp_path, *rows))
    lines = [line for line in told.splitlines() if line.startswith("line ")]
    assert len(lines) == 3500
    assert [int(re.match(r"line (\d+)", line)[1]) for line in lines] == list(range(2, 3502))
    assert sum(" refused: " in line for line in lines) == 500
    assert all("length_mm" in line and "made_on" in line for line in lines if " refused: " in line)
    assert "3500 lines: 3000 new, 0 known, 500 refused" in told


def test_the_moment_of_import_is_never_in_the_future(tmp_path):
    imported("gear", gear_book(tmp_path, {**PAIR[0], "received_on": "", "first_issued_on": ""}), "--commit")
    assert all(one.occurred_at <= timezone.now() for one in Entry.objects.exclude(precision="day"))


def test_very_many_names_do_not_drown_the_report(tmp_path):
    rows = [
        {"item_no": f"B-{number}", "kind": "blanket", "hand": "", "holder": f"Worker {number:03d}"}
        for number in range(250)
    ]
    told = imported("gear", gear_book(tmp_path, *rows))
    assert "holders to be made, 251: person Worker 000; person Worker 001;" in told
    assert "and 51 more" in told
    assert max(map(len, told.splitlines())) <= 110
