"""Rows that are made once for a module whose tests look and act, but never commit; each test is undone to them.

from tests.lasting import cast  # noqa: F401 - in the place of the fixture that makes the people anew for each test
"""

from types import SimpleNamespace

import pytest

from tests.conftest import make_cast


@pytest.fixture(scope="module")
def cast(module_rows: None) -> SimpleNamespace:
    return make_cast()
