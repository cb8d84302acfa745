"""Before `migrate` every command fails with one sentence that says what to do."""

import json
import os
import subprocess
import sys

import pytest

from tests.conftest import PROJECT, ZONE

COMMANDS = [
    ["answer", "B-1"],
    ["answer", "--all"],
    ["overdue_report"],
    ["verify_ledger"],
    ["rebuild_states", "--check"],
    ["import_gear", "book.csv"],
    ["import_gear", "book.csv", "--commit"],
    ["import_tests", "tests.csv", "--commit"],
]
# One process for all of them: each as manage.py runs it, with its status and what it wrote.
PROGRAM = """
import contextlib, io, json, sys
import manage
ended = []
commands = json.loads(sys.argv[1])
for command in commands:
    status, out, err = 0, io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            sys.argv[:] = ["manage.py", *command]
            manage.main()
        except SystemExit as end:
            status = end.code
            if isinstance(status, str):  # as the interpreter would end
                print(status, file=err)
                status = 1
    ended.append([status, out.getvalue(), err.getvalue()])
print(json.dumps(ended))
"""


@pytest.fixture(scope="module")
def ended(tmp_path_factory):
    """{command: [status, what it wrote, what it complained of]} on a database without tables."""
    here = tmp_path_factory.mktemp("bare")
    (here / "book.csv").write_text("item_no,kind,holder,holder_kind\nB-1,blanket,Dev,person\n")
    (here / "tests.csv").write_text("item_no,tested_on,purpose,visual\nB-1,2026-01-05,first,accept\n")
    bare = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
    bare |= {"DATA_DIR": str(here / "data"), "TIME_ZONE": ZONE, "PYTHONPATH": str(PROJECT)}
    bare |= {"DJANGO_SETTINGS_MODULE": "gear.site.settings"}
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", PROGRAM, json.dumps(COMMANDS)],
        env=bare,
        cwd=here,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    return {" ".join(command): told for command, told in zip(COMMANDS, json.loads(done.stdout), strict=True)}


@pytest.mark.parametrize("command", [" ".join(command) for command in COMMANDS])
def test_a_database_without_tables_is_one_sentence(ended, command):
    status, written, complaint = ended[command]
    assert status == 1
    assert "Run manage.py migrate" in complaint
    assert "Traceback" not in complaint
    assert not written.strip()
