"""The choices of whoever installed it: what the deployment checks say, in the words of the health page."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import cache

from django.conf import settings
from django.core import checks
from django.utils.translation import gettext as _

from gear.queries.health import AMBER, RED, WELL, Finding

OURS = "gear."
TOLD_ELSEWHERE = frozenset({"gear.W002"})  # no mail server: whoever sends mail tells it


def check_setup(now: datetime) -> Iterator[Finding]:
    """Ours among the checks before a deployment. Django's own only follow from these, but for DEBUG."""
    title = _("Set-up")
    found = []
    if settings.DEBUG and not settings.DEMO:
        sentence = _("DEBUG is on: error pages show settings and people's data to anyone. Leave DEBUG out.")
        found.append(Finding("DEBUG_ON", RED, title, sentence))
    for code, level, told in _messages():
        found.append(Finding(code, level, title, told))
    yield from found or [Finding("SETUP", WELL, title, _("The deployment checks find nothing."))]


@cache
def _messages() -> tuple[tuple[str, str, str], ...]:
    """(code, level, sentence) of each; settings of a running program do not change."""
    told = checks.run_checks(tags=[checks.Tags.security], include_deployment_checks=True)
    told += checks.run_checks(tags=[checks.Tags.database], databases=["default"])
    return tuple(
        (
            f"CHECK_{one.id.removeprefix(OURS)}",
            RED if one.level >= checks.ERROR else AMBER,
            " ".join(filter(None, (str(one.msg), one.hint))),
        )
        for one in told
        if one.id and one.id.startswith(OURS) and one.id not in TOLD_ELSEWHERE
    )
