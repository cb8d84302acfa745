"""Did the nightly work run, and what came of it?"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db.models import Max
from django.utils.translation import gettext as _

from gear.models import STEP_NAMES, Entry, NightlyResult
from gear.queries.health import AMBER, RED, WELL, Finding, late_level
from gear.queries.installation.record import LATE


def newest_results() -> dict[str, NightlyResult]:
    """The newest result of each step, however long ago, in the order in which they run. One query."""
    newest: dict[str, NightlyResult] = {}
    last = NightlyResult.objects.values("step").annotate(last=Max("at")).values("last")
    for row in NightlyResult.objects.filter(at__in=last).order_by("-at", "-pk"):
        newest.setdefault(row.step, row)
    return {step: newest[step] for step in STEP_NAMES if step in newest}


def check_nightly(now: datetime) -> Iterator[Finding]:
    title, results = _("Nightly work"), newest_results()
    if not results:
        oldest = Entry.objects.order_by("recorded_at").values_list("recorded_at", flat=True).first()
        level = late_level() if oldest and now - oldest > LATE else AMBER
        sentence = _(
            "It never ran, so nothing is sealed, proven or backed up by itself. Set up its timer: manage.py unit_files "
            "writes it, README says how."
        )
        yield Finding("NIGHTLY_NEVER", level, title, sentence)
        return
    failed = False
    for step, row in results.items():
        if not row.ok:
            failed = True
            heading = _("Nightly work: %s") % STEP_NAMES[step]
            yield Finding(f"NIGHTLY_{step.upper()}", RED, heading, row.sentence, row.at)
    late = [str(STEP_NAMES[step]) for step, row in results.items() if now - row.at > LATE]
    if late:
        sentence = _(
            "Not run for more than a day: %s. See why its timer does not run (systemctl list-timers), then run "
            "manage.py nightly."
        )
        at = min(row.at for row in results.values())
        yield Finding("NIGHTLY_LATE", late_level(), title, sentence % ", ".join(late), at)
    elif not failed:
        at = max(row.at for row in results.values())
        yield Finding("NIGHTLY", WELL, title, _("Every step of the last night ended well."), at)
