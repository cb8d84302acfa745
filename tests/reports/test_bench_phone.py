"""The figures of phones are printed for every job and asserted by nobody; that the bench runs is."""

import io
import re

import pytest
from django.core.management import CommandError, call_command

from tests import builders

pytestmark = pytest.mark.django_db


def test_every_job_of_a_phone_has_a_line_of_figures():
    told = io.StringIO()
    call_command("bench_phone", items=12, stdout=told)
    for job in ("data of one crew", "data of the whole depot", "live answer to one code", "50 records sent"):
        assert re.search(rf"^{job} +[\d.]+ +\d+ +[\d-]+ +\d+$", told.getvalue(), re.MULTILINE), (
            told.getvalue()
        )
    assert "not measured here" in told.getvalue()


def test_a_book_in_use_is_not_filled():
    builders.blanket("B-1")
    with pytest.raises(CommandError, match="empty"):
        call_command("bench_phone")
