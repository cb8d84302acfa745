"""A day at the bench as working paper: the session, and its rows until they are posted as one act."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from gear.models import Item
from gear.rules.entries import OUTCOMES
from inspections.models.words import (
    LOOK_NAMES,
    MATERIAL_NAMES,
    METHOD_NAMES,
    OUTCOME_NAMES,
    PURPOSE_NAMES,
    SESSION_STATES,
    SUPPLY_NAMES,
)
from inspections.rules.bounds import BOUNDS, LOOKS, MATERIALS, METHODS, PURPOSES, ROOM_BOUNDS, SUPPLIES

USER = settings.AUTH_USER_MODEL


def within(name: str, bounds: tuple[Decimal, Decimal] | None = None) -> Q:
    """Both ends are named: PostgreSQL takes NaN for greater than every number."""
    least, most = bounds or BOUNDS[name]
    return Q(**{f"{name}__gte": least, f"{name}__lte": most})


def one_of(name: str, words: tuple[str, ...]) -> Q:
    return Q(**{f"{name}__in": ("", *words)})


class BenchSession(models.Model):
    """What all tests of one run at a bench share. Open until it is posted or abandoned, and frozen from then on.

    `instrument` is the name under which the register of instruments may know it; degrees C, per cent.
    """

    number = models.CharField(_("number"), max_length=12, unique=True)
    tested_on = models.DateField(_("tested on"))
    bench = models.CharField(_("bench"), max_length=80)
    instrument = models.CharField(_("instrument"), max_length=80)
    purpose = models.CharField(_("purpose"), max_length=12, choices=list(PURPOSE_NAMES.items()))
    supply = models.CharField(_("supply"), max_length=2, choices=list(SUPPLY_NAMES.items()), default="ac")
    ambient_c = models.DecimalField(_("room, C"), max_digits=5, decimal_places=2, null=True, blank=True)
    humidity_pct = models.DecimalField(
        _("humidity, %"), max_digits=5, decimal_places=2, null=True, blank=True
    )
    water = models.CharField(_("water and clearance"), max_length=120, blank=True)
    opened_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=list(SESSION_STATES.items()), default="open")
    posted_by = models.ForeignKey(USER, models.PROTECT, null=True, related_name="+")
    posted_at = models.DateTimeField(null=True)
    abandoned_by = models.ForeignKey(USER, models.PROTECT, null=True, related_name="+")
    abandoned_at = models.DateTimeField(null=True)
    abandoned_why = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(number=""), name="benchsession_numbered"),
            models.CheckConstraint(condition=~Q(instrument=""), name="benchsession_instrument_named"),
            models.CheckConstraint(condition=Q(purpose__in=PURPOSES), name="benchsession_purpose_known"),
            models.CheckConstraint(condition=Q(supply__in=SUPPLIES), name="benchsession_supply_known"),
            models.CheckConstraint(
                condition=Q(state__in=list(SESSION_STATES)), name="benchsession_state_known"
            ),
            models.CheckConstraint(
                condition=Q(state="posted", posted_by__isnull=False, posted_at__isnull=False)
                | (~Q(state="posted") & Q(posted_by__isnull=True, posted_at__isnull=True)),
                name="benchsession_posted_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(state="abandoned", abandoned_by__isnull=False, abandoned_at__isnull=False)
                & ~Q(abandoned_why="")
                | ~Q(state="abandoned") & Q(abandoned_by__isnull=True, abandoned_at__isnull=True),
                name="benchsession_abandoned_by_somebody",
            ),
            *(
                models.CheckConstraint(
                    condition=Q(**{f"{name}__isnull": True}) | within(name, bounds),
                    name=f"benchsession_{name}_possible",
                )
                for name, bounds in ROOM_BOUNDS.items()
            ),
        ]
        indexes = [models.Index(fields=["state", "tested_on"], name="benchsession_state_day")]

    def __str__(self):
        return self.number

    @property
    def is_open(self):
        return self.state == "open"


class BenchRow(models.Model):
    """One scan of a session: working paper, and no evidence. It is struck out, never deleted; frozen once posted.

    `id` is the client's, so that a row sent twice is stored once. Units as in ElectricalTest. `outcome` and `judged`
    are what the row said by itself when it was typed; posting judges it again. `replaces` is the row it was typed
    in place of; `retest` counts the void rows before it; `earlier_ma` the last accepted current of the item.
    """

    id = models.UUIDField(primary_key=True)
    session = models.ForeignKey(BenchSession, models.PROTECT, related_name="rows")
    position = models.PositiveIntegerField()
    item = models.ForeignKey(Item, models.PROTECT)
    by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    leakage_ma = models.DecimalField(max_digits=9, decimal_places=3, null=True)
    resistance_mohm = models.DecimalField(max_digits=9, decimal_places=3, null=True)
    cable_temp_c = models.DecimalField(max_digits=6, decimal_places=3, null=True)
    applied_v = models.PositiveIntegerField(null=True)
    seconds = models.PositiveIntegerField(null=True)
    test_a = models.DecimalField(max_digits=7, decimal_places=3, null=True)
    method = models.CharField(max_length=12, blank=True, choices=list(METHOD_NAMES.items()))
    material = models.CharField(max_length=8, blank=True, choices=list(MATERIAL_NAMES.items()))
    look_before = models.CharField(max_length=6, blank=True, choices=list(LOOK_NAMES.items()))
    look_after = models.CharField(max_length=6, blank=True, choices=list(LOOK_NAMES.items()))
    looked_by = models.ForeignKey(USER, models.PROTECT, null=True, related_name="+")
    breakdown = models.BooleanField(default=False)
    flashover = models.BooleanField(default=False)
    why = models.CharField(max_length=200, blank=True)
    checker = models.ForeignKey(USER, models.PROTECT, null=True, related_name="+")
    checked_at = models.DateTimeField(null=True)
    retest = models.PositiveSmallIntegerField(default=0)
    replaces = models.OneToOneField("self", models.PROTECT, null=True, related_name="replaced_by")
    struck = models.BooleanField(default=False)
    struck_why = models.CharField(max_length=200, blank=True)
    struck_by = models.ForeignKey(USER, models.PROTECT, null=True, related_name="+")
    struck_at = models.DateTimeField(null=True)
    outcome = models.CharField(max_length=8, choices=list(OUTCOME_NAMES.items()))
    judged = models.JSONField(default=dict)
    earlier_ma = models.DecimalField(max_digits=9, decimal_places=3, null=True)
    test = models.OneToOneField("ElectricalTest", models.PROTECT, null=True, related_name="bench_row")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["session", "position"], name="benchrow_position_unique"),
            models.UniqueConstraint(
                fields=["session", "item"], condition=Q(struck=False), name="benchrow_one_live_row"
            ),
            *(
                models.CheckConstraint(
                    condition=Q(**{f"{name}__isnull": True}) | within(name), name=f"benchrow_{name}_possible"
                )
                for name in BOUNDS
            ),
            models.CheckConstraint(
                condition=one_of("look_before", LOOKS) & one_of("look_after", LOOKS),
                name="benchrow_looks_known",
            ),
            models.CheckConstraint(
                condition=one_of("method", METHODS) & one_of("material", MATERIALS), name="benchrow_way_known"
            ),
            models.CheckConstraint(condition=Q(outcome__in=OUTCOMES), name="benchrow_outcome_known"),
            models.CheckConstraint(
                condition=Q(checker__isnull=True) | Q(checked_at__isnull=False) & ~Q(checker=F("by")),
                name="benchrow_checker_is_another",
            ),
            models.CheckConstraint(
                condition=Q(struck=True, struck_by__isnull=False, struck_at__isnull=False) & ~Q(struck_why="")
                | Q(struck=False, struck_by__isnull=True, struck_at__isnull=True),
                name="benchrow_struck_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(test__isnull=True) | Q(struck=False), name="benchrow_posted_is_live"
            ),
        ]

    def __str__(self):
        return f"{self.session} {self.position}"
