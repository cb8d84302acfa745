"""Who may open which route of inspections. Acts are checked in the actions, by gear.permissions.ACTS."""

from __future__ import annotations

from gear.permissions import CLERK, EVERYONE, IMPORTERS

ROUTES: dict[str, dict[str, frozenset[str]]] = {
    "import_tests": {"GET": IMPORTERS, "POST": IMPORTERS},
    "api_tests": {"GET": EVERYONE, "POST": CLERK},
}
