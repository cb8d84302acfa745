"""Checks of the installation: all are asked, and one that breaks is itself a finding."""

from datetime import UTC, datetime

from gear.queries import health
from gear.queries.health import RED, WELL, Finding

NOW = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)


def quiet(now):
    yield Finding("QUIET", WELL, "Quiet", "Nothing to do.", now)


def broken(now):
    raise RuntimeError("disk")


def test_one_check_that_breaks_hides_no_other_and_is_red(monkeypatch):
    monkeypatch.setattr(health, "CHECKS", [])
    for check in (broken, quiet, quiet):
        health.register(check)
    found = health.findings(NOW)
    assert [(one.code, one.level) for one in found] == [("CHECK_BROKEN", RED), ("QUIET", WELL)]
    assert "broken" in found[0].sentence
