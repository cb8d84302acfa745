"""Bring in files as an administrator does, by the commands."""

import io
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command


def imported(book: str, path: Path, *options: str) -> str:
    """What `import_gear` or `import_tests` prints; `book` is gear or tests."""
    out = io.StringIO()
    call_command(f"import_{book}", str(path), *options, stdout=out)
    return out.getvalue()


def refused(book: str, path: Path, *options: str) -> str:
    """What the command prints when it ends with status 1."""
    out = io.StringIO()
    with pytest.raises(CommandError) as error:
        call_command(f"import_{book}", str(path), *options, stdout=out)
    assert error.value.returncode == 1
    return out.getvalue() + str(error.value)


def line(told: str, number: int) -> str:
    """What was said of one line of a file."""
    return next(one for one in told.splitlines() if one.startswith(f"line {number}:"))
