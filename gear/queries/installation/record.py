"""What guards the record: triggers, the rules in force, and the daily seal."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from django.db import connection
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import guards
from gear.ledger import rules_on
from gear.ledger.seals import last_seal
from gear.models import Entry
from gear.queries.health import RED, WELL, Finding, late_level

LATE = timedelta(hours=26)  # a day, and two hours for what runs long; common practice, no source


def check_guards(now: datetime) -> Iterator[Finding]:
    title = _("Guards of the record")
    if guards.missing(connection):
        sentence = _(
            "Database triggers that refuse changes to evidence are missing or altered. Run manage.py migrate to put "
            "them back, then manage.py verify_ledger, and find out who removed them."
        )
        yield Finding("TRIGGERS_MISSING", RED, title, sentence, bars=True)
    else:
        yield Finding("TRIGGERS", WELL, title, _("The database refuses to change or delete evidence."))


def check_rules(now: datetime) -> Iterator[Finding]:
    title = _("Rules in force")
    rules = rules_on(timezone.localdate(now))
    if rules.pack is None:
        sentence = _(
            "The rules cannot be relied upon, so every answer is unknown. Run manage.py verify_ledger, and see on the "
            "page Rules what is in force."
        )
        yield Finding("RULES_REFUSED", RED, title, sentence, page="rules_in_force", bars=True)
    else:
        yield Finding("RULES", WELL, title, rules.pack.label, page="rules_in_force")


def check_seals(now: datetime) -> Iterator[Finding]:
    """A quiet weekend needs no seal; what was recorded and waits for one longer than a day does."""
    title = _("Seal")
    last = last_seal()
    unsealed = Entry.objects.filter(recorded_at__gt=last.sealed_at) if last else Entry.objects.all()
    oldest = unsealed.order_by("recorded_at").values_list("recorded_at", flat=True).first()
    sealed_at = last.sealed_at if last else None
    if oldest and now - oldest > LATE:
        sentence = _(
            "What was recorded since is not sealed. Run manage.py seal_ledger, keep the line that it prints, and see "
            "why the nightly work did not (manage.py nightly)."
        )
        yield Finding("SEAL_LATE", late_level(), title, sentence, sealed_at or oldest)
    elif last:
        told = _("Seal %(number)s covers %(rows)s rows. Keep its line outside this machine.")
        yield Finding("SEAL", WELL, title, told % {"number": last.number, "rows": last.row_count}, sealed_at)
    else:
        yield Finding("SEAL", WELL, title, _("Nothing waits for a seal."))
