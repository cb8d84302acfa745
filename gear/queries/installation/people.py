"""Is somebody there for what only one role may do, and can they be written to?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear.models import User
from gear.queries.health import AMBER, RED, WELL, Finding

WRITTEN_TO = ("supervisor", "administrator")


def check_people(now: datetime) -> Iterator[Finding]:
    title = _("People")
    active = list(User.objects.filter(is_active=True).exclude(role="worker").values_list("role", "email"))
    roles = Counter(role for role, _email in active)
    lacking = {
        "administrator": (
            "NO_ADMINISTRATOR",
            RED,
            _("Nobody can manage this installation. Run: manage.py add_person USERNAME --role administrator"),
        ),
        "supervisor": (
            "NO_SUPERVISOR",
            AMBER,
            _("Nobody can release what is held or read the weekly report as its owner. Add a supervisor."),
        ),
        "clerk": ("NO_CLERK", AMBER, _("Nobody can receive, test or issue gear. Add a tool-room clerk.")),
    }
    found = [
        Finding(code, level, title, told, page="people")
        for role, (code, level, told) in lacking.items()
        if not roles[role]
    ]
    if silent := sum(1 for role, email in active if role in WRITTEN_TO and not email):
        told = ngettext(
            "%(count)d supervisor or administrator has no mail address and hears of nothing that fails. Enter it.",
            "%(count)d supervisors and administrators have no mail address and hear of nothing that fails. Enter them.",
            silent,
        )
        found.append(Finding("NO_ADDRESS", AMBER, title, told % {"count": silent}, page="people"))
    yield from found or [Finding("PEOPLE", WELL, title, _("Administrator, supervisor and clerk are there."))]
