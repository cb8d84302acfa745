"""Cartons on their way to a lab and back: what went out, and, line by line, what became of it."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from gear.models import AppendOnly, Entry, Holder, Item, User
from inspections.rules.shipping import OUTCOMES, STATES

STATE_NAMES = {"packing": _("Packing"), "sent": _("At the lab"), "closed": _("Closed")}
SETTLED_NAMES = {
    "passed": _("Passed"),
    "rejected_returned": _("Rejected, returned"),
    "rejected_destroyed": _("Rejected, destroyed at the lab"),
    "missing": _("Missing"),
    "extra": _("Extra"),
    "identity_differs": _("Marks differ"),
    "withdrawn": _("Taken back"),
}


class Shipment(models.Model):
    """One carton to one lab. Until it is sent its lines are working paper; sending it is one act of the ledger."""

    number = models.CharField(_("number"), max_length=20, unique=True)
    lab = models.ForeignKey(Holder, models.PROTECT, verbose_name=_("lab"))
    carton = models.PositiveSmallIntegerField(_("carton"), default=1)
    cartons = models.PositiveSmallIntegerField(_("of"), default=1)
    expected_on = models.DateField(_("expected back"))
    courier_no = models.CharField(_("courier number"), max_length=60, blank=True)
    state = models.CharField(max_length=8, default="packing", choices=list(STATE_NAMES.items()))
    started_at = models.DateTimeField()
    started_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    sent_at = models.DateTimeField(null=True)
    sent_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(number=""), name="shipment_numbered"),
            models.CheckConstraint(condition=Q(state__in=STATES), name="shipment_state_known"),
            models.CheckConstraint(
                condition=Q(carton__gte=1, carton__lte=F("cartons")), name="shipment_carton_in_count"
            ),
            # A carton that stayed empty is closed without ever being sent.
            models.CheckConstraint(
                condition=Q(state="packing", sent_at__isnull=True, closed_at__isnull=True)
                | Q(state="sent", sent_at__isnull=False, closed_at__isnull=True)
                | Q(state="closed", closed_at__isnull=False),
                name="shipment_moments_fit_state",
            ),
        ]
        indexes = [models.Index(fields=["state", "expected_on"], name="shipment_state_expected")]

    def __str__(self):
        return self.number


class ShipmentLine(models.Model):
    """One piece in a carton. `why` is the code of what was against it when it was packed; `entry` its sending.

    `open` from the scan until it is settled; a piece is in one open line at a time, whoever scans it where.
    """

    shipment = models.ForeignKey(Shipment, models.PROTECT, related_name="lines")
    item = models.ForeignKey(Item, models.PROTECT)
    added_at = models.DateTimeField()
    added_by = models.ForeignKey(User, models.PROTECT, null=True)
    why = models.CharField(max_length=40, blank=True)
    note = models.CharField(_("note for the lab"), max_length=200, blank=True)
    open = models.BooleanField(default=True)
    entry = models.OneToOneField(Entry, models.PROTECT, null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["item"], condition=Q(open=True), name="shipmentline_item_in_one_open_line"
            ),
            models.UniqueConstraint(fields=["shipment", "item"], name="shipmentline_item_once_in_shipment"),
            # Only what was sent can be settled.
            models.CheckConstraint(
                condition=Q(open=True) | Q(entry__isnull=False), name="shipmentline_settled_was_sent"
            ),
        ]


class ShipmentOutcome(AppendOnly):
    """What became of a line, or a piece that came back and was on none; `corrects` names the row it takes the place of.

    `read` is what stands on a piece that differs, or that nobody knows. `shelf` is where it was put.
    """

    shipment = models.ForeignKey(Shipment, models.PROTECT, related_name="outcomes")
    line = models.ForeignKey(ShipmentLine, models.PROTECT, null=True, related_name="outcomes")
    item = models.ForeignKey(Item, models.PROTECT, null=True)
    outcome = models.CharField(max_length=20, choices=list(SETTLED_NAMES.items()))
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True)
    shelf = models.ForeignKey(Holder, models.PROTECT, null=True)
    report_no = models.CharField(_("report of the lab"), max_length=80, blank=True)
    read = models.CharField(_("read on the piece"), max_length=200, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(outcome__in=OUTCOMES), name="shipmentoutcome_known"),
            models.CheckConstraint(
                condition=~Q(outcome="extra") | Q(line__isnull=True), name="shipmentoutcome_extra_on_no_line"
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=("extra", "withdrawn")) | Q(line__isnull=False, item__isnull=False),
                name="shipmentoutcome_settles_a_line",
            ),
            # A piece that is not ours is told by what stands on it.
            models.CheckConstraint(
                condition=Q(item__isnull=False) | ~Q(read=""), name="shipmentoutcome_names_a_piece"
            ),
            models.CheckConstraint(
                condition=~Q(outcome="withdrawn") | Q(corrects__isnull=False),
                name="shipmentoutcome_withdraws_a_row",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="identity_differs") | ~Q(read=""),
                name="shipmentoutcome_says_what_differs",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="rejected_destroyed") | ~Q(report_no=""),
                name="shipmentoutcome_destruction_has_report",
            ),
            # Every later row of a line names the one before it.
            models.UniqueConstraint(
                fields=["line"], condition=Q(corrects__isnull=True), name="shipmentoutcome_line_settled_once"
            ),
        ]
        indexes = [models.Index(fields=["shipment", "at"], name="shipmentoutcome_order")]
