"""Before `migrate` every command fails with one sentence that says what to do."""

import pytest


@pytest.mark.parametrize(
    "command",
    [
        ["answer", "B-1"],
        ["answer", "--all"],
        ["overdue_report"],
        ["verify_ledger"],
        ["rebuild_states", "--check"],
        ["import_gear", "book.csv"],
        ["import_gear", "book.csv", "--commit"],
        ["import_tests", "tests.csv", "--commit"],
    ],
)
def test_a_database_without_tables_is_one_sentence(manage, tmp_path, command):
    (tmp_path / "book.csv").write_text("item_no,kind,holder,holder_kind\nB-1,blanket,Dev,person\n")
    (tmp_path / "tests.csv").write_text("item_no,tested_on,purpose,visual\nB-1,2026-01-05,first,accept\n")
    done = manage(*command)
    assert done.returncode == 1
    assert "Run manage.py migrate" in done.stderr
    assert "Traceback" not in done.stderr
    assert not done.stdout.strip()
