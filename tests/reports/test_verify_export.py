"""The verifier stands alone: whatever is changed in an export it finds, and what it cannot find it says."""

import json
import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import pytest
import time_machine
from django.db import transaction
from django.test import override_settings

from reports.actions import exporting
from reports.rules import verify_export
from reports.rules.verify_export import ENTRIES, HEADS, MANIFEST, SEALS, Check, NoExport, main, packed
from tests.reports.harbour import MORNING
from tests.reports.recorded import PICTURE, everything, lines_of, people, rows_in, unpacked, with_rows

LISTS = "lists/gear-book.csv"


@pytest.fixture(scope="module")
def zipped(django_db_setup, django_db_blocker, tmp_path_factory):
    """An export of a small book with something of every kind, and its seals as printed."""
    folder = tmp_path_factory.mktemp("export")
    path, patch = folder / "export.zip", pytest.MonkeyPatch()
    patch.setattr(exporting, "weekly_pdf", lambda week: b"%PDF-1.7 set elsewhere")
    here = override_settings(MEDIA_ROOT=folder / "media", DATA_DIR=folder)
    with django_db_blocker.unblock(), here, transaction.atomic(), time_machine.travel(MORNING, tick=True):
        fleet = everything(people())
        with path.open("wb") as target:
            made = exporting.export(target)
        pieces = folder / "pieces.zip"
        with pieces.open("wb") as target:
            exporting.export(target, exporting.Asked(items=("B-due_in_7", fleet.left.item_no)))
        transaction.set_rollback(True)
    patch.undo()
    return path, pieces, made, [(seal.number, seal.hash) for seal in (fleet.first_seal, fleet.seal)]


@pytest.fixture(scope="module")
def files(zipped):
    return unpacked(zipped[0])


@pytest.fixture(scope="module")
def printed(zipped):
    return zipped[3]


def found(files, *printed, manifest=""):
    """What is found of an export whose list of files was made anew, as whoever hides a change would."""
    return Check(packed(files)).run(printed, manifest)


def tables(files):
    """{name: its rows in the manifest} of every table whose rows a chain or a seal covers."""
    covered = (one for one in json.loads(files[MANIFEST])["tables"] if one["dated"] or one["file"] == SEALS)
    return {one["file"]: one for one in covered}


def sealed_rows(files, name, printed):
    """The rows of a table with their places, but those that are younger than the newest seal."""
    dated = tables(files)[name]["dated"]
    newest = max(row["sealed_at"] for row in rows_in(files[SEALS]))
    return [(at, row) for at, row in enumerate(rows_in(files[name])) if not dated or row[dated] <= newest]


# Whole


def test_an_export_checks_out_on_a_machine_that_has_python_and_nothing_else(zipped, printed, tmp_path):
    path, _pieces, made, _seals = zipped
    program = tmp_path / "verify_export.py"
    program.write_bytes(unpacked(path)["verify_export.py"])
    (number, digest), bare = printed[-1], {"PATH": "/nowhere"}
    command = [sys.executable, "-I", "-S", str(program), str(path), "--seal", f"{number}:{digest}"]
    run = subprocess.run(command, cwd=tmp_path, env=bare, capture_output=True, text=True, check=False)
    assert (run.returncode, run.stderr) == (0, "")
    assert "All checked is as it was recorded." in run.stdout
    assert f"SHA-256 of the manifest: {made.manifest}" in run.stdout
    assert f"Newest seal: {number}:{digest}" in run.stdout
    assert "1 rows are younger than the newest seal" in run.stdout
    assert "django" not in program.read_text().lower()


def test_it_says_what_it_cannot_show_where_nothing_from_outside_is_compared(zipped, capsys):
    assert main([str(zipped[0])]) == 0
    assert "Nothing from outside was compared." in capsys.readouterr().out
    assert main([str(zipped[0]), "--manifest", zipped[2].manifest[:16]]) == 0
    assert "Nothing from outside" not in capsys.readouterr().out


def test_it_proves_first_that_it_can_fail(monkeypatch, zipped, capsys):
    monkeypatch.setattr(verify_export, "hash_of", lambda stated: "0" * 64)
    assert main([str(zipped[0])]) == 2
    assert "does not find what it must" in capsys.readouterr().err


def test_every_file_that_is_written_is_listed_and_every_table_has_its_own(files):
    manifest = json.loads(files[MANIFEST])
    assert set(manifest["files"]) == set(files) - {MANIFEST}
    assert {"READ ME.txt", "verify_export.py", "papers/overdue.pdf", LISTS, ENTRIES, HEADS} <= set(files)
    assert Path(verify_export.__file__).read_bytes() == files["verify_export.py"]
    assert files["media/photos/2026/09/a.jpg"] == PICTURE


# Changed, and the list of files left as it was


def test_a_change_of_any_file_is_found_by_its_name(files, tmp_path):
    for name in files:
        if name == MANIFEST:
            continue
        changed = {**files, name: files[name] + b"x"}
        path = tmp_path / "changed.zip"
        with ZipFile(path, "w") as export:
            for one, content in changed.items():
                export.writestr(one, content)
        assert any(sentence.startswith(f"{name}: it is not the file") for sentence in Check(path).run()), name


@pytest.mark.parametrize("what", ["gone", "added", "twice", "cut", "manifest"])
@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_file_that_is_gone_or_added_and_half_a_zip_are_found(what, files, tmp_path):
    path = tmp_path / "changed.zip"
    with ZipFile(path, "w") as export:
        for name, content in files.items():
            if not (what == "gone" and name == LISTS) and not (what == "manifest" and name == MANIFEST):
                export.writestr(name, content)
        if what in ("added", "twice"):
            export.writestr("lists/more.csv" if what == "added" else LISTS, b"a,b\n")
    if what == "cut":
        path.write_bytes(path.read_bytes()[:-200])
    if what in ("cut", "manifest"):
        with pytest.raises(NoExport):
            Check(path).run()
    else:
        assert Check(path).run()


# Changed, and hidden in a new list of files


def changed(value):
    """Another value of the same sort."""
    if isinstance(value, bool) or value is None:
        return {True: False, False: True, None: 0}[value]
    if isinstance(value, int):
        return value + 1
    if isinstance(value, list):
        return [*value, "more"]
    if isinstance(value, dict):
        return {**value, "more": 1}
    return f"{value}x"


def test_a_change_of_any_field_of_any_covered_row_is_found_in_its_file(files, printed):
    count = 0
    for name in [*tables(files), HEADS]:
        covered = (
            sealed_rows(files, name, printed) if name != HEADS else list(enumerate(rows_in(files[HEADS])))
        )
        rows = rows_in(files[name])
        for at, row in covered[-3:] if name == ENTRIES else covered[-1:]:
            for field in row:
                if field == "content":
                    continue  # the name of a file: its hash stands beside it
                other = [*rows[:at], {**row, field: changed(row[field])}, *rows[at + 1 :]]
                assert found({**files, name: lines_of(other)}), (name, field)
                count += 1
    assert count > 150


def test_a_line_deleted_added_or_moved_is_found_although_rows_were_counted_anew(files, printed):
    for name in [*tables(files), HEADS]:
        rows = rows_in(files[name])
        if name != HEADS:
            for at, _row in sealed_rows(files, name, printed)[:4]:
                assert found(with_rows(files, name, [*rows[: at + 1], *rows[at:]])), (name, at, "twice")
                without = with_rows(files, name, [*rows[:at], *rows[at + 1 :]])
                # The newest seal is vouched for by nothing but a printed one.
                newest = name == SEALS and at == len(rows) - 1
                assert found(without, *(printed if newest else [])), (name, at, "deleted")
        for at in range(1, len(rows)):
            # Of entries the order within a chain is evidence; which chain stands first in the file is not.
            if name != HEADS and rows[at - 1].get("subject") == rows[at].get("subject"):
                swapped = [*rows[: at - 1], rows[at], rows[at - 1], *rows[at + 1 :]]
                assert found(with_rows(files, name, swapped)), (name, at, "moved")
                break


def test_an_entry_made_up_and_linked_in_is_found_by_the_seal(files):
    """Whoever knows how entries are hashed can continue a chain, but not under a seal that was made."""
    rows = rows_in(files[ENTRIES])
    last = max((row for row in rows if row["subject"] == "item:B-due_in_7"), key=lambda row: row["position"])
    made_up = {**last, "position": last["position"] + 1, "previous": last["hash"], "kind": "released"}
    made_up["hash"] = verify_export.hash_of({name: one for name, one in made_up.items() if name != "hash"})
    at = rows.index(last) + 1
    files = with_rows(files, ENTRIES, [*rows[:at], made_up, *rows[at:]])
    heads = [
        {**head, "count": head["count"] + 1, "hash": made_up["hash"]}
        if head["subject"] == last["subject"]
        else head
        for head in rows_in(files[HEADS])
    ]
    wrong = found({**files, HEADS: lines_of(heads)})
    assert [sentence.partition(":")[0] for sentence in wrong] == [SEALS]
    assert "covers" in wrong[0]


def test_a_tail_that_was_cut_with_its_seal_shows_only_against_the_printed_one(files, printed):
    first, second = printed
    end = rows_in(files[SEALS])[0]["sealed_at"]
    for name, table in tables(files).items():
        if table["dated"]:
            files = with_rows(
                files, name, [row for row in rows_in(files[name]) if row[table["dated"]] <= end]
            )
    files = with_rows(files, SEALS, rows_in(files[SEALS])[:1])
    newest = {row["subject"]: row for row in rows_in(files[ENTRIES])}
    heads = [{**head, "count": newest[head["subject"]]["position"], "hash": newest[head["subject"]]["hash"]}
             for head in rows_in(files[HEADS])]  # fmt: skip
    files = {**files, HEADS: lines_of(heads)}
    assert found(files, first) == []
    (wrong,) = found(files, first, second)
    assert wrong == "printed seal 2: it is not there: this export is older, or its end was cut off."


def test_another_photo_or_another_file_that_was_brought_in_is_found_by_its_row(files):
    content = next(name for name in files if name.startswith("content/gear.importedfile/"))
    for name, table in (("media/photos/2026/09/a.jpg", "gear.photo"), (content, "gear.importedfile")):
        (wrong,) = found({**files, name: files[name] + b"x"})
        assert wrong.startswith(f"tables/{table}.jsonl:1: {name} is not the file that was kept")


def test_lists_and_tables_without_a_seal_are_guarded_by_the_hash_of_the_manifest_alone(files):
    """This is what the program says that it cannot show, and how somebody who noted the hash finds it."""
    whole = Check(packed(files))
    whole.run()
    noted = whole.hashes[MANIFEST]
    other = {**files, LISTS: files[LISTS].replace(b"blanket", b"glove")}
    assert found(files, manifest=noted) == []
    assert found(other) == []
    (wrong,) = found(other, manifest=noted)
    assert wrong.startswith("manifest.json: its hash is")


def test_a_printed_seal_that_was_mistyped_or_is_another_is_told(files, printed):
    number, digest = printed[0]
    assert found(files, (number, digest[:16])) == []
    for other in (digest[:15], f"0{digest[1:]}" if digest[0] != "0" else f"1{digest[1:]}"):
        (wrong,) = found(files, (number, other))
        assert "it is another one" in wrong


@pytest.mark.parametrize(
    "line", [b"{\n", b"[]\n", b'{"subject":"a","subject":"b"}\n', b"{}\n", b"\xff\n", b'{"a":1}']
)
def test_a_line_that_is_no_row_is_told_with_its_number(files, line):
    wrong = found({**files, ENTRIES: line + files[ENTRIES]})
    assert any(sentence.startswith(f"{ENTRIES}:1: this ") for sentence in wrong)


@pytest.mark.parametrize(
    "other", [{"version": 2}, {"format": "another"}, {"tables": [{}]}, {"scope": {}}, {"files": []}]
)
def test_an_export_of_another_make_is_not_checked_at_all(files, other, tmp_path, capsys):
    manifest = {**json.loads(files[MANIFEST]), **other}
    path = tmp_path / "other.zip"
    with ZipFile(path, "w") as export:
        export.writestr(MANIFEST, json.dumps(manifest))
    assert main([str(path)]) == 2
    assert capsys.readouterr().err.startswith("Nothing was checked.")


# Some pieces only


@pytest.fixture(scope="module")
def pieces(zipped):
    return unpacked(zipped[1])


def test_of_some_pieces_every_row_is_proven_by_its_path_to_a_seal(pieces, printed):
    assert found(pieces, *printed) == []
    assert {row["subject"].partition(":")[0] for row in rows_in(pieces[ENTRIES])} == {"item", "set"}
    assert {row["item_no"] for row in rows_in(pieces["tables/gear.item.jsonl"])} >= {"B-due_in_7"}
    assert not [
        name for name in pieces if name.startswith(("lists/", "tables/gear.user", "tables/gear.refusal"))
    ]


def test_of_some_pieces_a_changed_deleted_or_made_up_row_is_found(pieces):
    rows = rows_in(pieces[ENTRIES])
    for at, row in enumerate(rows):
        for field in row:
            other = [*rows[:at], {**row, field: changed(row[field])}, *rows[at + 1 :]]
            assert found({**pieces, ENTRIES: lines_of(other)}), field
        assert found(with_rows(pieces, ENTRIES, [*rows[:at], *rows[at + 1 :]]))
    answers = rows_in(pieces["tables/gear.givenanswer.jsonl"])
    answers[0]["verdict"] = "good"
    assert found({**pieces, "tables/gear.givenanswer.jsonl": lines_of(answers)})
    proofs = json.loads(pieces["proofs.json"])
    for leaf, proof in proofs.items():
        other = {**proofs, leaf: {**proof, "path": proof["path"][:-1]}}
        assert found({**pieces, "proofs.json": json.dumps(other).encode()})
