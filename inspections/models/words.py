"""Words for what stands in a test: for forms, pages and the choices of columns."""

from django.utils.translation import gettext_lazy as _

PURPOSE_NAMES = {
    "first": _("First, before issue"),
    "in_service": _("In service"),
    "after_repair": _("After repair"),
    "suspect": _("Suspect"),
}
SUPPLY_NAMES = {"ac": _("AC"), "dc": _("DC")}
LOOK_NAMES = {
    "accept": _("Accept"),
    "clean": _("Clean first"),
    "test": _("In doubt, test again"),
    "reject": _("Reject"),
}
OUTCOME_NAMES = {
    "accepted": _("Accepted"),
    "failed": _("Failed"),
    "void": _("Void"),
    "unjudged": _("Not judged"),
}
METHOD_NAMES = {
    "dc_meter": _("DC, micro-ohmmeter"),
    "dc_drop": _("DC, millivolt drop"),
    "ac_impedance": _("AC, impedance"),
}
MATERIAL_NAMES = {"copper": _("Copper"), "aluminum": _("Aluminum")}
SESSION_STATES = {
    "open": _("Open"),
    "posted": _("Posted"),
    "abandoned": _("Abandoned"),
}
