"""Exceptions in words."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from reports.rules.exceptions import Noted

ABOUT_NAMES = {
    "item": gettext_lazy("One piece"),
    "crew": gettext_lazy("A crew"),
    "truck": gettext_lazy("A truck"),
    "all": gettext_lazy("Everything"),
}


def about(one: Noted) -> str:
    """What an exception is about: `Truck T-12`, `B-0417`, `everything`."""
    words = {
        "item": one.subject,
        "crew": one.subject,
        "truck": _("truck %s") % one.subject,
        "all": _("everything"),
    }
    return str(words.get(one.about) or ABOUT_NAMES.get(one.about, one.about))
