"""Rows copied from the standards and handbooks, each with its source named in the file."""

from __future__ import annotations

import csv
from pathlib import Path

FOLDER = Path(__file__).parents[2] / "fixtures" / "standards"


def rows(name: str) -> list[dict[str, str]]:
    """Every row of fixtures/standards/<name>.csv; never empty, so that no table is checked by checking nothing."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    assert found, f"{name}.csv holds no row"
    assert all(row["source"] for row in found), f"{name}.csv has a row without its source"
    return found
