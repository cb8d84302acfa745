"""What every page's frame needs: the name, the demo mark and the way to the pages this person may open."""

from functools import partial
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from gear.permissions import MANAGERS
from gear.queries import health
from gear.site import gate

# In the order of a working day: the question first, then the bench, the weekly report, the rest.
PAGES = (
    (_("Find"), "find"),
    (_("At the truck"), "field"),
    (_("Job check"), "job"),
    (_("Tool room"), "tool_room"),
    (_("Log a test"), "log_test"),
    (_("Receive"), "receive"),
    (_("This week"), "week"),
    (_("Overdue"), "overdue_report"),
    (_("Records"), "records"),
    (_("Import"), "import"),
    (_("Rules"), "rules_in_force"),
    (_("People"), "people"),
    (_("Devices"), "devices"),
    (_("Site"), "site_policy"),
)

# The tool room's day, in the order in which gear passes through it: (heading, (name of the page, what it is for)).
TOOL_ROOM = (
    (
        _("On the bench"),
        (
            (
                _("Bench sessions"),
                "bench_sessions",
                _("Log a day of tests, row by row, and post it as one act."),
            ),
            (_("Log one test"), "log_test", _("One piece, judged at once.")),
            (_("Look at a piece"), "look", _("Accept, clean, send for test or reject by eye.")),
            (_("Certificates"), "certificates", _("Print test certificates, and check the code on one.")),
            (_("Instruments"), "instruments", _("Calibrations, and what rests on a bad instrument.")),
        ),
    ),
    (
        _("In and out"),
        (
            (_("Receive"), "receive", _("New gear, one by one or by a range of serials.")),
            (_("Labels"), "labels", _("Print, reprint and replace labels.")),
            (
                _("Visitors' gear"),
                "visits",
                _("Check in the gear of contractors and mutual-aid crews, and see it off."),
            ),
            (_("Lab shipments"), "shipments", _("Pack a carton, print its slip, reconcile what came back.")),
            (_("Lab result files"), "lab_files", _("Read a lab's file with its own columns and units.")),
            (_("Rejects"), "rejects", _("Red tags, and destruction before a witness.")),
        ),
    ),
    (
        _("At the counter"),
        (
            (_("Exchange a pair"), "counter", _("Person, new pair, old pair: three scans.")),
            (_("Find a pair now"), "find_pair", _("By class, size and length, with the days left.")),
            (_("Change-out list"), "change_out", _("Who is due, crew by crew, on paper.")),
            (_("Old pairs not returned"), "not_returned", _("Replaced, and still in somebody's hands.")),
            (_("Odd gloves"), "odd_gloves", _("Single gloves, and the pairs they would make.")),
            (_("Trucks"), "trucks", _("Load lists, walks round trucks, and what nobody saw.")),
            (_("Fallback packs"), "fallback_packs", _("Paper for a day without power or network.")),
            (_("Move a whole truck"), "move_all", _("Everything that one holder has, as one act.")),
            (_("Booms"), "booms", _("Booms and liners, their tests, and the job checks of each truck.")),
            (
                _("Who is clear for so many days"),
                "roster",
                _("The roster for a storm, from kits and shelves."),
            ),
            (_("Kits"), "kits", _("What a new hire needs and a leaver still has.")),
        ),
    ),
    (
        _("The book itself"),
        (
            (_("Recall"), "recall", _("Hold by maker, model, lot and date, wherever it is.")),
            (_("Held as one act"), "batches", _("What recalls and traces hold, and the way back.")),
            (_("Damage patterns"), "patterns", _("Where on a kind of piece something is found, counted.")),
            (_("Inspectors"), "qualifications", _("Who may accept by eye, and until when.")),
            (
                _("Missing particulars"),
                "data_quality",
                _("Records that lack what a verdict or a trace needs."),
            ),
        ),
    ),
)

# What was, what was known, and what is kept: the supervisor's, the auditor's and the administrator's.
RECORDS = (
    (
        _("What was true, and what was known"),
        (
            (
                _("Record of a piece"),
                "record_of",
                _("One piece as of a minute: what held, what was told, what came later."),
            ),
            (
                _("The book on a past day"),
                "fleet_as_of",
                _("Any past report again, as known then and as known now."),
            ),
            (
                _("Trace back"),
                "trace_back",
                _("From one piece to who had it, its mates, its session, its lot."),
            ),
            (_("Kept as evidence"), "evidence", _("Pieces that nobody may test, clean or destroy.")),
            (
                _("Reports as sent"),
                "weekly_reports",
                _("Every weekly report, as it was mailed, with its hash."),
            ),
        ),
    ),
    (
        _("Registers"),
        (
            (
                _("Exceptions"),
                "exceptions",
                _("Notes with a name, a reason and an end. None changes a verdict."),
            ),
            (_("Corrections"), "corrections_log", _("What was corrected, by whom and why.")),
            (_("Refused"), "refusals_log", _("What somebody tried and was refused, and why.")),
            (_("Changes of rules"), "rule_changes", _("Which rules held from when, and who changed them.")),
            (_("Stopped in hands"), "stops_in_hands", _("Who was told, and who says that it is out of use.")),
            (_("Lost"), "lost_register", _("What was reported lost, and what was found again.")),
            (_("Rejected and destroyed"), "rejects", _("Red tags, and destruction before a witness.")),
        ),
    ),
    (
        _("Looking ahead and back"),
        (
            (_("Coming weeks"), "coming_weeks", _("What falls due, week by week, against bench and lab.")),
            (
                _("Year in figures"),
                "statistics",
                _("Rates with their intervals, and what is too few to tell."),
            ),
        ),
    ),
    (
        _("Audit and export"),
        (
            (_("Random sample"), "audit_sample", _("Drawn from a printed start number, and what it proves.")),
            (_("Export"), "exports", _("Everything on record, with hashes that anybody can check.")),
        ),
    ),
    (
        _("This installation"),
        (
            (_("Health"), "health", _("Report, mail, backups, seals, disk and clock.")),
            (
                _("Restored record"),
                "restored_record",
                _("What was put back from a backup, and who answered for it."),
            ),
            (_("Who is mailed"), "mail_recipients", _("The weekly report and the notices.")),
        ),
    ),
)


def site(request: HttpRequest) -> dict[str, Any]:
    return {
        "DEMO": settings.DEMO,
        "site_name": settings.SITE_NAME,
        "base_url": settings.BASE_URL,
        "site_zone": settings.TIME_ZONE,
        "nav": _nav(request),
        "tool_room": partial(_sections, request, TOOL_ROOM),  # worked out where a template asks for it
        "records": partial(_sections, request, RECORDS),
        "trouble": partial(_trouble, request),
        "in_trouble": _in_trouble,
    }


def _trouble(request: HttpRequest) -> list[str]:
    """The titles of what must be mended today, for whoever manages this installation; nothing for others."""
    if gate.role_of(getattr(request, "user", None)) not in MANAGERS:
        return []
    return list(dict.fromkeys(one.title for one in health.recent(timezone.now()) if one.level == health.RED))


def _in_trouble() -> bool:
    """For the sign-in page, which strangers see: whether anything is, and not what."""
    return any(one.level == health.RED for one in health.recent(timezone.now()))


def _nav(request: HttpRequest) -> list[dict[str, Any]]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return []
    return [
        {"name": name, "label": label, "address": address, "current": _is_current(request.path, address)}
        for label, name in PAGES
        if (address := _address(name)) and gate.can_open(user, name)
    ]


def _sections(request: HttpRequest, sections: tuple) -> list[dict[str, Any]]:
    """The sections of such a page with the pages that exist and that this person may open."""
    return [
        {"heading": heading, "pages": pages}
        for heading, rows in sections
        if (pages := _openable(request, rows))
    ]


def _openable(request: HttpRequest, rows: tuple) -> list[dict[str, Any]]:
    return [
        {"label": label, "address": address, "sentence": sentence}
        for label, name, sentence in rows
        if (address := _address(name)) and gate.can_open(request.user, name)
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
