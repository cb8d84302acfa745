"""Checks of the installation: all are asked, and one that breaks is itself a finding."""

from datetime import UTC, datetime

from gear.queries import health, installation
from gear.queries.health import RED, WELL, Finding

NOW = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)


def quiet(now):
    yield Finding("QUIET", WELL, "Quiet", "Nothing to do.", now)


def broken(now):
    raise RuntimeError("disk")


def unmigrated(now):
    yield Finding(health.UNMIGRATED, RED, "Database", "Run migrate.", now)


def test_one_check_that_breaks_hides_no_other_and_is_red(monkeypatch):
    monkeypatch.setattr(health, "CHECKS", [])
    for check in (broken, quiet, quiet):
        health.register(check)
    found = health.findings(NOW)
    assert [(one.code, one.level) for one in found] == [("CHECK_BROKEN", RED), ("QUIET", WELL)]
    assert "broken" in found[0].sentence


def test_what_decides_whether_the_others_can_be_asked_is_asked_first(monkeypatch):
    asked = [check.__module__ for check in health.CHECKS]
    own = len(installation.CHECKS)
    assert {module.rpartition(".")[0] for module in asked[:own]} == {"gear.queries.installation"}
    monkeypatch.setattr(health, "CHECKS", [broken])
    health.register(unmigrated, first=True)
    assert [one.code for one in health.findings(NOW)] == [health.UNMIGRATED]
