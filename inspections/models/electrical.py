"""What was found out about an item on a bench: typed rows beside the ledger's entries, append-only too."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from gear.models import AppendOnly, Entry, Item
from gear.rules.entries import OUTCOMES
from inspections.models.bench import BenchSession, one_of, within
from inspections.models.words import (
    LOOK_NAMES,
    MATERIAL_NAMES,
    METHOD_NAMES,
    OUTCOME_NAMES,
    PURPOSE_NAMES,
    SUPPLY_NAMES,
)
from inspections.rules.bounds import BOUNDS, LAB_RESULTS, LOOKS, MATERIALS, METHODS, PURPOSES, SUPPLIES


class ElectricalTest(AppendOnly):
    """One electrical test as it was read, beside its `tested` entry, which is what counts.

    Units: V, s, mA, milliohm, degrees C; a blank word or null means "not stated". `identity` is a hash that makes the
    same test known again; `codes` are findings as in the entry; `limit_ma` and `proof_v` what it was judged against.
    `operator` and `checker` are usernames; `look_before` and `look_after` are the two looks that `visual` sums up.
    """

    entry = models.OneToOneField(Entry, models.PROTECT, primary_key=True)
    item = models.ForeignKey(Item, models.PROTECT)
    tested_on = models.DateField(_("tested on"))
    purpose = models.CharField(_("purpose"), max_length=12, choices=list(PURPOSE_NAMES.items()))
    supply = models.CharField(_("supply"), max_length=2, blank=True, choices=list(SUPPLY_NAMES.items()))
    applied_v = models.PositiveIntegerField(_("applied V"), null=True)
    seconds = models.PositiveIntegerField(_("seconds"), null=True)
    leakage_ma = models.DecimalField(_("current, mA"), max_digits=9, decimal_places=3, null=True)
    resistance_mohm = models.DecimalField(
        _("resistance, milliohm"), max_digits=9, decimal_places=3, null=True
    )
    cable_temp_c = models.DecimalField(_("cable temperature, C"), max_digits=6, decimal_places=3, null=True)
    visual = models.CharField(_("look"), max_length=6, blank=True, choices=list(LOOK_NAMES.items()))
    breakdown = models.BooleanField(_("breakdown"), null=True)
    flashover = models.BooleanField(_("flashover"), null=True)
    lab_result = models.CharField(_("result of the lab"), max_length=6, blank=True)
    lab = models.CharField(_("lab"), max_length=80, blank=True)
    instrument = models.CharField(_("instrument"), max_length=80, blank=True)
    report_no = models.CharField(_("report number"), max_length=80, blank=True)
    calibration = models.CharField(_("calibration"), max_length=12)
    outcome = models.CharField(_("outcome"), max_length=8, choices=list(OUTCOME_NAMES.items()))
    codes = models.JSONField(default=list)
    limit_ma = models.DecimalField(_("limit, mA"), max_digits=9, decimal_places=3, null=True)
    proof_v = models.PositiveIntegerField(_("proof V"), null=True)
    pack = models.CharField(_("rule pack"), max_length=80)
    identity = models.CharField(max_length=64, unique=True)
    # How it was taken, where it was logged in a bench session
    session = models.ForeignKey(BenchSession, models.PROTECT, null=True)
    operator = models.CharField(_("operator"), max_length=150, blank=True)
    checker = models.CharField(_("checker"), max_length=150, blank=True)
    bench = models.CharField(_("bench"), max_length=80, blank=True)
    water = models.CharField(_("water"), max_length=120, blank=True)
    look_before = models.CharField(
        _("look before"), max_length=6, blank=True, choices=list(LOOK_NAMES.items())
    )
    look_after = models.CharField(
        _("look after, inflated"), max_length=6, blank=True, choices=list(LOOK_NAMES.items())
    )
    method = models.CharField(_("method"), max_length=12, blank=True, choices=list(METHOD_NAMES.items()))
    material = models.CharField(
        _("conductor"), max_length=8, blank=True, choices=list(MATERIAL_NAMES.items())
    )
    test_a = models.DecimalField(_("test current, A"), max_digits=7, decimal_places=3, null=True)

    class Meta:
        constraints = [
            *(
                models.CheckConstraint(
                    condition=Q(**{f"{name}__isnull": True}) | within(name),
                    name=f"electricaltest_{name}_possible",
                )
                for name in BOUNDS
            ),
            models.CheckConstraint(condition=Q(purpose__in=PURPOSES), name="electricaltest_purpose_known"),
            models.CheckConstraint(condition=one_of("supply", SUPPLIES), name="electricaltest_supply_known"),
            models.CheckConstraint(condition=one_of("visual", LOOKS), name="electricaltest_visual_known"),
            models.CheckConstraint(
                condition=one_of("lab_result", LAB_RESULTS), name="electricaltest_lab_result_known"
            ),
            models.CheckConstraint(condition=Q(outcome__in=OUTCOMES), name="electricaltest_outcome_known"),
            models.CheckConstraint(
                condition=one_of("look_before", LOOKS) & one_of("look_after", LOOKS),
                name="electricaltest_looks_known",
            ),
            models.CheckConstraint(condition=one_of("method", METHODS), name="electricaltest_method_known"),
            models.CheckConstraint(
                condition=one_of("material", MATERIALS), name="electricaltest_material_known"
            ),
            models.CheckConstraint(
                condition=~Q(outcome="accepted")
                | Q(session__isnull=True)
                | Q(look_before="accept", look_after="accept"),
                name="electricaltest_accepted_looked_at_twice",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="accepted")
                | (Q(visual="accept") & ~Q(breakdown=True) & ~Q(flashover=True)),
                name="electricaltest_accepted_looked_at",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="accepted")
                | Q(proof_v__isnull=True)
                | Q(applied_v__isnull=False, applied_v__gte=F("proof_v")),
                name="electricaltest_accepted_proved",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="accepted")
                | Q(limit_ma__isnull=True)
                | Q(supply="dc")
                | Q(leakage_ma__isnull=False, leakage_ma__gt=0, leakage_ma__lte=F("limit_ma")),
                name="electricaltest_accepted_in_limit",
            ),
        ]
        indexes = [models.Index(fields=["item", "tested_on"], name="electricaltest_item_day")]

    def __str__(self):
        return f"{self.item} {self.tested_on:%Y-%m-%d}"
