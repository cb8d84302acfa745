"""What page one says of closing the loop: last week's counts, since when a line is open, who promised what."""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from reports.rules.loop import Compared
from reports.rules.overdue import Line, OverdueReport, Promised


def compared(one: Compared) -> str:
    """`Last week 12. 9 of these are open still.`"""
    still = ngettext("%d of these is open still.", "%d of these are open still.", one.still) % one.still
    return f"{_('Last week %d.') % one.before} {still}"


def opened(line: Line) -> str:
    """Since when a line of page one is open; nothing for any other line."""
    if line.open_since is None:
        return _("since when, the record cannot tell") if line.carried else ""
    words = _("still open, since %s") if line.carried else _("new, since %s")
    return words % wording.day(line.open_since)


def spare(line: Line) -> str:
    """What stands ready in its place; nothing where nobody looked."""
    if line.spare is None:
        return ""
    return _("Ready: %s") % line.spare if line.spare else _("Nothing ready")


def promised(one: Promised | None, as_of: date) -> str:
    """`Bertrand, by 16 SEP 2026`; a day that went by is told as what it is."""
    if one is None:
        return ""
    words = _("BROKEN: %(owner)s, by %(day)s") if one.broken(as_of) else _("%(owner)s, by %(day)s")
    return words % {"owner": one.owner, "day": wording.day(one.promised_on)}


def carried_over(report: OverdueReport) -> str:
    """How many lines of page one were open a week before and ever since, and how many have no promise that stands."""
    lines = report.usable_now
    if report.loop is None or not lines:
        return ""
    carried = sum(line.carried for line in lines)
    bare = sum(line.promised is None or line.promised.broken(report.heading.as_of) for line in lines)
    return " ".join(
        (
            ngettext(
                "%d line is open since last week and stands first.",
                "%d lines are open since last week and stand first.",
                carried,
            )
            % carried,
            ngettext(
                "%d line has no promise, or a broken one.",
                "%d lines have no promise, or a broken one.",
                bare,
            )
            % bare,
        )
    )
