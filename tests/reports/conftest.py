"""Monday morning, and the gear of that Monday."""

from collections.abc import Iterator
from datetime import date
from types import SimpleNamespace

import pytest
import time_machine

from tests.replaying import replayed
from tests.reports.harbour import MONDAY, MORNING, harbour_gear


@pytest.fixture
def monday() -> Iterator[date]:
    """05:40 on Monday 14 September 2026 at the site."""
    with time_machine.travel(MORNING, tick=False):
        yield MONDAY


@pytest.fixture
def fleet(cast: SimpleNamespace, monday: date) -> SimpleNamespace:
    def same_people(made: SimpleNamespace) -> bool:
        return all(getattr(made.cast, name).pk == one.pk for name, one in vars(cast).items())

    made = replayed("harbour", lambda: harbour_gear(cast), fits=same_people)
    made.cast = cast
    cast.crew.refresh_from_db()
    return made
