"""Fixtures of the tests of gear."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import time_machine
from django.test import Client

from tests.gear.policy_pages import signed_in


@pytest.fixture
def fifteenth_of_june() -> Iterator[None]:
    """Noon at the site on 15 June 2026."""
    with time_machine.travel(datetime(2026, 6, 15, 16, tzinfo=UTC), tick=True):
        yield


@pytest.fixture
def ines(fifteenth_of_june, cast) -> Client:
    """The browser of the supervisor."""
    return signed_in(cast.ines)
