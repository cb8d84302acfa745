"""Items, what they share, the sets they form, and the cache of their folded facts."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.models.people import Holder
from gear.rules.entries import CONDITIONS
from gear.rules.readiness import KINDS

KIND_NAMES = {
    "glove": _("Glove"),
    "sleeve": _("Sleeve"),
    "blanket": _("Blanket"),
    "line_hose": _("Line hose"),
    "hood": _("Hood"),
    "rigid_cover": _("Rigid cover"),
    "grounding_jumper": _("Grounding jumper"),
    "live_line_tool": _("Live-line tool"),
    "voltage_detector": _("Voltage detector"),
    "protector": _("Protector"),
}
CONDITION_NAMES = {
    "ok": _("OK"),
    "held": _("Held"),
    "needs_cleaning": _("Needs cleaning"),
    "out_for_test": _("Out for test"),
    "out_for_repair": _("Out for repair"),
    "rejected": _("Rejected"),
    "destroyed": _("Destroyed"),
    "lost": _("Lost"),
}
SET_KINDS = {"pair": _("Pair"), "grounding": _("Grounding set"), "kit": _("Set")}


class ItemType(models.Model):
    """What items of one maker's model share. Found or made by all its values together: `key` is their hash."""

    SHARED = (
        "kind",
        "cls",
        "type",
        "size",
        "length_mm",
        "colour",
        "maker",
        "model",
        "rated_kv",
        "cable_size",
        "cable_length_m",
        "clamp_grade",
        "ferrule_grade",
    )
    kind = models.CharField(_("kind"), max_length=20, choices=list(KIND_NAMES.items()))
    cls = models.CharField(_("class"), max_length=4, blank=True, db_column="class")
    type = models.CharField(_("type"), max_length=2, blank=True)
    size = models.CharField(_("size"), max_length=20, blank=True)
    length_mm = models.PositiveIntegerField(_("length, mm"), null=True, blank=True)
    colour = models.CharField(_("colour"), max_length=40, blank=True)
    maker = models.CharField(_("maker"), max_length=80, blank=True)
    model = models.CharField(_("model"), max_length=80, blank=True)
    rated_kv = models.DecimalField(_("rated kV"), max_digits=7, decimal_places=3, null=True, blank=True)
    cable_size = models.CharField(_("cable size"), max_length=10, blank=True)
    cable_length_m = models.DecimalField(
        _("cable length, m"), max_digits=7, decimal_places=3, null=True, blank=True
    )
    clamp_grade = models.CharField(_("clamp grade"), max_length=4, blank=True)
    ferrule_grade = models.CharField(_("ferrule grade"), max_length=4, blank=True)
    key = models.CharField(max_length=64, unique=True, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=KINDS), name="itemtype_kind_known"),
            models.CheckConstraint(
                condition=Q(length_mm__isnull=True) | Q(length_mm__gt=0), name="itemtype_length_positive"
            ),
            models.CheckConstraint(
                condition=Q(cable_length_m__isnull=True) | Q(cable_length_m__gt=0),
                name="itemtype_cable_length_positive",
            ),
        ]

    def __str__(self):
        words = [
            str(KIND_NAMES[self.kind]),
            _("class %s") % self.cls if self.cls else "",
            self.size,
            self.cable_size,
        ]
        return " ".join(str(word) for word in words if word)


class Item(models.Model):
    """One physical piece with a number of its own. What it is comes from its `received` entry."""

    item_no = models.CharField(_("item number"), max_length=40, unique=True)
    item_type = models.ForeignKey(ItemType, models.PROTECT)
    serial = models.CharField(_("serial"), max_length=60, blank=True)
    hand = models.CharField(_("hand"), max_length=1, blank=True)
    lot = models.CharField(_("lot"), max_length=60, blank=True)
    made_on = models.DateField(_("made on"), null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(item_no=""), name="item_numbered"),
            models.CheckConstraint(condition=Q(hand__in=("", "L", "R")), name="item_hand_known"),
        ]
        indexes = [models.Index(fields=["serial"], name="item_serial")]

    def __str__(self):
        return self.item_no


class ChainHead(models.Model):
    """How many entries a subject has and the hash of the newest: a plain cut shows at once."""

    entry_count = models.PositiveIntegerField(default=0)
    head_hash = models.CharField(max_length=64, blank=True)
    chain_ok = models.BooleanField(default=True)

    class Meta:
        abstract = True


class GearSet(ChainHead):
    """Items used together. Who belongs to it is told by the entries of the items."""

    set_no = models.CharField(_("set number"), max_length=40, unique=True)
    kind = models.CharField(max_length=12, choices=list(SET_KINDS.items()))
    required = models.PositiveSmallIntegerField(_("pieces"), null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(SET_KINDS)), name="gearset_kind_known")
        ]

    def __str__(self):
        return self.set_no


class ItemState(ChainHead):
    """Folded facts of one item as known now; a cache, proven by `rebuild_states --check`. Holds no verdict.

    `facts` is gear.rules.fold.to_json; the columns beside it are for finding only.
    """

    item = models.OneToOneField(Item, models.PROTECT, primary_key=True, related_name="state")
    holder = models.ForeignKey(Holder, models.PROTECT, null=True)
    gear_set = models.ForeignKey(GearSet, models.PROTECT, null=True)
    condition = models.CharField(max_length=16, choices=list(CONDITION_NAMES.items()), default="ok")
    usable_now = models.BooleanField(default=False)
    good_through = models.DateField(null=True)
    winning_clock = models.CharField(max_length=40, blank=True)
    last_test_on = models.DateField(null=True)
    first_issued_on = models.DateField(null=True)
    label = models.CharField(max_length=16, blank=True)
    facts = models.JSONField(default=dict)

    LEFT_OUT = "folded from the entries; what witnesses these stands in heads"  # why it is in no export

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(condition__in=CONDITIONS), name="itemstate_condition_known")
        ]
        indexes = [
            models.Index(fields=["good_through"], name="itemstate_good_through"),
            models.Index(fields=["usable_now", "condition"], name="itemstate_usable"),
        ]
