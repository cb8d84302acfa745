"""What may never change: entries, labels, seals, refusals, the answers given, and the files that were imported."""

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.models.book import ChainHead, GearSet, Item
from gear.models.people import User

VIA = ("web", "api", "field", "import", "system")


class Immutable(Exception):
    """Evidence is appended, never changed. Correct it with a new entry that names the old one."""


class AppendOnlyQuerySet(models.QuerySet):
    def update(self, **values):
        raise Immutable(_("Records are never edited. Enter a correction that names the record."))

    def delete(self):
        raise Immutable(_("Records are never deleted. Enter a correction that names the record."))

    def bulk_update(self, objs, fields, batch_size=None):
        raise Immutable(_("Records are never edited. Enter a correction that names the record."))


class AppendOnly(models.Model):
    """A table guarded three times: here, by database triggers (gear.guards), and by the hash chain."""

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        abstract = True

    def save(self, *args, **kwargs):
        if not self._state.adding:
            raise Immutable(_("Records are never edited. Enter a correction that names the record."))
        kwargs["force_insert"] = True
        super().save(*args, **kwargs)

    def delete(self, *args, **kwargs):
        raise Immutable(_("Records are never deleted. Enter a correction that names the record."))


class Sealed(AppendOnly):
    """Evidence beside the entries. The daily seal covers it, so it is stored by gear.ledger.append alone."""

    appending = False  # set by gear.ledger.append
    LATER: frozenset[str] = frozenset()  # columns added to a table that was sealed before them

    class Meta:
        abstract = True

    def save(self, *args, **kwargs):
        if self._state.adding and not self.appending:
            raise Immutable(
                _("A record of this kind is stored through gear.ledger.append, so that a seal covers it.")
            )
        super().save(*args, **kwargs)


class SiteHead(ChainHead):
    """The one row that heads the chain of the site's own entries (rule packs, policies)."""

    only = models.BooleanField(default=True, unique=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(only=True), name="sitehead_single")]


class Entry(AppendOnly):
    """One line of the ledger, about an item, a set, or (neither) the site. Made only by gear.ledger."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    item = models.ForeignKey(Item, models.PROTECT, null=True)
    gear_set = models.ForeignKey(GearSet, models.PROTECT, null=True)
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=20)
    occurred_at = models.DateTimeField()
    occurred_on = models.DateField()
    precision = models.CharField(max_length=6, default="moment")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True)
    via = models.CharField(max_length=8)
    device = models.CharField(max_length=80, blank=True)
    facts = models.JSONField()
    corrects = models.ForeignKey("self", models.PROTECT, null=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(item__isnull=True) | Q(gear_set__isnull=True), name="entry_one_subject"
            ),
            models.CheckConstraint(condition=Q(via__in=VIA), name="entry_via_known"),
            models.CheckConstraint(
                condition=Q(precision__in=("day", "moment")), name="entry_precision_known"
            ),
            models.CheckConstraint(condition=Q(position__gte=1), name="entry_position_from_one"),
            models.CheckConstraint(
                condition=Q(kind="corrected", corrects__isnull=False)
                | (~Q(kind="corrected") & Q(corrects__isnull=True)),
                name="entry_correction_names_entry",
            ),
            models.UniqueConstraint(
                fields=["item", "position"],
                condition=Q(item__isnull=False),
                name="entry_item_position_unique",
            ),
            models.UniqueConstraint(
                fields=["gear_set", "position"],
                condition=Q(gear_set__isnull=False),
                name="entry_set_position_unique",
            ),
            models.UniqueConstraint(
                fields=["position"],
                condition=Q(item__isnull=True, gear_set__isnull=True),
                name="entry_site_position_unique",
            ),
        ]
        indexes = [models.Index(fields=["recorded_at"], name="entry_recorded_at")]

    def save(self, *args, **kwargs):
        raise Immutable(
            _("Entries are made by gear.ledger.record alone, and never edited. Enter a correction.")
        )


class Label(AppendOnly):
    """A printed code bound to one item for ever. The item's newest label is the one in force."""

    code = models.CharField(max_length=16, primary_key=True)
    item = models.ForeignKey(Item, models.PROTECT)
    entry = models.OneToOneField(Entry, models.PROTECT)


class Membership(AppendOnly):
    """That an item once joined a set: an index into the entries, for asking about the past."""

    item = models.ForeignKey(Item, models.PROTECT)
    gear_set = models.ForeignKey(GearSet, models.PROTECT)
    entry = models.OneToOneField(Entry, models.PROTECT)


class Qualification(AppendOnly):
    """That a person may accept gear by eye at the tool room, from one day through another. The newest row counts.

    It stands beside a `person_changed` entry of the site, which is what the ledger keeps.
    """

    person = models.ForeignKey(User, models.PROTECT)
    from_on = models.DateField(_("from"))
    until_on = models.DateField(_("through"))
    entry = models.OneToOneField(Entry, models.PROTECT)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(until_on__gte=models.F("from_on")), name="qualification_ends_after_it_begins"
            )
        ]


class Refusal(Sealed):
    """An act that was refused: who tried what, and why not."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True)
    via = models.CharField(max_length=8)
    act = models.CharField(max_length=40)
    subject = models.CharField(max_length=80, blank=True)
    code = models.CharField(max_length=40)
    detail = models.TextField(blank=True)

    class Meta:
        indexes = [models.Index(fields=["at"], name="refusal_at")]


class GivenAnswer(Sealed):
    """What the screen told somebody, with the age of the data.

    `at` is when it was recorded; `shown_at` when a phone showed it, by the phone's clock, where that is another moment.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True)
    item = models.ForeignKey(Item, models.PROTECT, null=True)
    code = models.CharField(max_length=64)
    verdict = models.CharField(max_length=8)
    good_through = models.DateField(null=True)
    reasons = models.JSONField(default=list)
    rule_pack = models.CharField(max_length=60, blank=True)
    data_age_s = models.PositiveIntegerField(default=0)
    device = models.CharField(max_length=80, blank=True)
    shown_at = models.DateTimeField(null=True)

    LATER = frozenset({"shown_at"})  # columns that came later: left out of a leaf where they are empty

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict__in=("good", "stop", "unknown")), name="givenanswer_verdict_known"
            )
        ]
        indexes = [models.Index(fields=["at"], name="givenanswer_at")]


class SightingNote(AppendOnly):
    """That somebody looked into an answer about a scrapped piece; `entry` is the note on the record of the piece."""

    answer = models.OneToOneField(GivenAnswer, models.PROTECT)
    entry = models.ForeignKey(Entry, models.PROTECT)


class StaleUseNote(AppendOnly):
    """That somebody looked into a `look` before use of a piece that was not good then; `entry` is the note on it."""

    look = models.OneToOneField(Entry, models.PROTECT, related_name="+")
    entry = models.ForeignKey(Entry, models.PROTECT, related_name="+")


class DestructionBatch(AppendOnly):
    """Pieces destroyed as one act before one witness: an index into their entries, which are what counts.

    `pieces` are the ids of the `destroyed` entries, in order of item number; each of them names the batch.
    """

    number = models.PositiveIntegerField(primary_key=True)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    witness = models.ForeignKey(User, models.PROTECT, related_name="+")
    destroyed_at = models.DateTimeField()
    reason = models.CharField(max_length=500)
    pieces = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(number__gte=1), name="destructionbatch_numbered"),
            models.CheckConstraint(
                condition=~Q(witness=models.F("by")), name="destructionbatch_witness_is_another"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="destructionbatch_reason_given"),
        ]

    def __str__(self):
        return f"D-{self.number:04d}"


class Submission(Sealed):
    """What a client sent under an id of its own, and what it was answered: sent again, it is answered the same.

    `fingerprint` is the SHA-256 of the canonical body; `id` is unique for ever, so a retry after weeks is known.
    """

    id = models.UUIDField(primary_key=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT)
    act = models.CharField(max_length=40)
    fingerprint = models.CharField(max_length=64)
    answer = models.JSONField()

    class Meta:
        indexes = [models.Index(fields=["act", "at"], name="submission_act")]


class ImportedFile(Sealed):
    """A file that was committed, kept as it came."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True)
    book = models.CharField(max_length=8)
    name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    content = models.BinaryField()
    rows_new = models.PositiveIntegerField()
    rows_known = models.PositiveIntegerField()


class LabelPrint(Sealed):
    """That labels were printed: which codes, in order, on what stock and from which position, and why again.

    `shift_x` and `shift_y` are tenths of a millimetre to the right and down.
    """

    id = models.UUIDField(primary_key=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT)
    stock = models.CharField(max_length=20)
    start = models.PositiveSmallIntegerField()
    copies = models.PositiveSmallIntegerField()
    dates = models.BooleanField()
    shift_x = models.SmallIntegerField(default=0)
    shift_y = models.SmallIntegerField(default=0)
    reason = models.CharField(max_length=500, blank=True)
    codes = models.JSONField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(start__gte=1), name="labelprint_start_from_one"),
            models.CheckConstraint(condition=Q(copies__gte=1), name="labelprint_copies_from_one"),
        ]
        indexes = [models.Index(fields=["at"], name="labelprint_at")]


class PrintedLabel(AppendOnly):
    """That a label was among those of a print: an index, for finding what was never printed."""

    printing = models.ForeignKey(LabelPrint, models.PROTECT)
    label = models.ForeignKey(Label, models.PROTECT)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["printing", "label"], name="printedlabel_print_label_unique")
        ]


class Seal(AppendOnly):
    """A Merkle root over every evidence row recorded since the seal before, and the running count.

    `hash` binds the seal to the one before it, so one printed seal vouches for all that came earlier.
    """

    number = models.PositiveIntegerField(primary_key=True)
    sealed_at = models.DateTimeField(unique=True)
    row_count = models.PositiveBigIntegerField()
    merkle_root = models.CharField(max_length=64)
    previous_hash = models.CharField(max_length=64, blank=True)
    hash = models.CharField(max_length=64)
