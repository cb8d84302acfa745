"""Where holders belonged at an earlier moment, from the changes of people and places that were recorded since."""

from __future__ import annotations

from datetime import datetime

from gear.models import Crew, Entry, Holder, User
from gear.rules.places_then import Register

CHANGES = ("changed", "crew_changed", "holder_changed")


def register_then(known_at: datetime) -> Register:
    """The register of crews, people and holders as it was at a moment. Four queries."""
    found = Register()
    for name, depot in Crew.objects.values_list("name", "depot__name"):
        found.crews[name] = {"depot": depot}
    for username, crew, depot in User.objects.values_list("username", "crew__name", "depot__name"):
        found.people[username] = {"crew": crew, "depot": depot}
    rows = Holder.objects.values_list("kind", "name", "crew__name", "depot__name", "person__username")
    for kind, name, crew, depot, username in rows:
        found.holders[kind, name] = {"crew": crew, "depot": depot}
        if username:
            found.person_of[kind, name] = username
    later = Entry.objects.filter(
        kind="person_changed", item=None, gear_set=None, recorded_at__gt=known_at, facts__change__in=CHANGES
    )
    found.take_back(later.order_by("-position").values_list("facts", flat=True))
    return found
