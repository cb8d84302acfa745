"""Fixtures of the rules: no database, no clock."""

import shutil

import pytest

from gear.rules import packs


@pytest.fixture
def folder(tmp_path):
    """A copy of the shipped pack folder."""
    for file in packs.DEFAULT.iterdir():
        if file.suffix == ".toml" or file.name == "SHA256SUMS":
            shutil.copy(file, tmp_path)
    return tmp_path
