"""What every page's frame needs: the name, the demo mark and the way to the pages this person may open."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy as _

from gear.site import gate

# In the order of a working day: the question first, then the bench, the weekly report, the rest.
PAGES = (
    (_("Find"), "find"),
    (_("Log a test"), "log_test"),
    (_("Receive"), "receive"),
    (_("Overdue"), "overdue_report"),
    (_("Import"), "import"),
    (_("Rules"), "rules_in_force"),
    (_("People"), "people"),
    (_("Site"), "site_policy"),
)


def site(request: HttpRequest) -> dict[str, Any]:
    return {
        "DEMO": settings.DEMO,
        "site_name": settings.SITE_NAME,
        "base_url": settings.BASE_URL,
        "site_zone": settings.TIME_ZONE,
        "nav": _nav(request),
    }


def _nav(request: HttpRequest) -> list[dict[str, Any]]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return []
    return [
        {"name": name, "label": label, "address": address, "current": _is_current(request.path, address)}
        for label, name in PAGES
        if (address := _address(name)) and gate.can_open(user, name)
    ]


def _is_current(path: str, address: str) -> str:
    """`page` on the page itself, `true` on a page below it, nothing elsewhere: the values of aria-current."""
    if path == address:
        return "page"
    return "true" if address != "/" and path.startswith(address) else ""


def _address(name: str) -> str | None:
    try:
        return reverse(name)
    except NoReverseMatch:
        return None
