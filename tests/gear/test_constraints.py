"""Every constraint of the gear book has a case here that the database itself refuses, by the name of the constraint."""

import datetime
from uuid import uuid4

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError
from django.utils import timezone

from gear.ledger import append
from gear.models import (
    DestructionBatch,
    Entry,
    GearSet,
    GivenAnswer,
    HoldBatch,
    Holder,
    Item,
    ItemState,
    ItemType,
    KitLine,
    LabelPrint,
    NightlyResult,
    PrintedLabel,
    Qualification,
    SiteHead,
    User,
)
from tests import builders
from tests.gear.sealed_rows import photo

pytestmark = pytest.mark.django_db
NOW = datetime.datetime(2026, 3, 1, tzinfo=datetime.UTC)


def item_type(**columns):
    return ItemType.objects.create(**{"kind": "glove", "key": "k", **columns})


def item(**columns):
    return Item.objects.create(**{"item_no": "G-1", "item_type": item_type(), **columns})


def entry(**columns):
    known = {
        "position": 1,
        "kind": "noted",
        "occurred_at": NOW,
        "occurred_on": NOW.date(),
        "recorded_at": NOW,
        "via": "web",
        "facts": {"v": 1, "note": "x"},
    }
    return Entry.objects.bulk_create([Entry(**{**known, **columns})])[0]


def night(**columns):
    known = {"run": uuid4(), "at": NOW, "step": "seal", "ok": True, "sentence": "Sealed."}
    return NightlyResult.objects.create(**{**known, **columns})


def batch(**columns):
    known = {"number": "H-0001", "at": NOW, "about": "recall", "subject": "x", "reason": "x", "pieces": 1}
    HoldBatch.objects.bulk_create([HoldBatch(**{**known, **columns})])


def printed(**columns):
    stated = {"stock": "letter_30", "start": 1, "copies": 1, "dates": True, "codes": []}
    row = LabelPrint(id=uuid4(), by=builders.person("clerk"), **{**stated, **columns})
    append(row)
    return row


def photographed(**columns):
    builders.blanket()
    append(photo(**columns))


def printed_twice():
    printing, label = printed(), builders.blanket(label="ABCDEFGHJKM").label_set.get()
    for _twice in range(2):
        PrintedLabel.objects.create(printing=printing, label=label)


def twice(**columns):
    entry(**columns)
    entry(**columns)


def destruction(**columns):
    people = {"by": builders.person("clerk", "orla"), "witness": builders.person("worker", "dev")}
    known = {"number": 1, "destroyed_at": NOW, "reason": "cut up", **people}
    return DestructionBatch.objects.create(**{**known, **columns})


OFFENDERS = {
    # people and places
    "user_role_known": lambda: User.objects.create(username="dev", role="boss"),
    "holder_kind_known": lambda: Holder.objects.create(kind="drawer", name="x"),
    "holder_named": lambda: Holder.objects.create(kind="shelf", name=""),
    "holder_kind_name_unique": lambda: [Holder.objects.create(kind="shelf", name="x") for _one in range(2)],
    # the book
    "itemtype_kind_known": lambda: item_type(kind="mitten"),
    "itemtype_length_positive": lambda: item_type(length_mm=0),
    "itemtype_cable_length_positive": lambda: item_type(cable_length_m="0"),
    "item_numbered": lambda: item(item_no=""),
    "item_hand_known": lambda: item(hand="M"),
    "gearset_kind_known": lambda: GearSet.objects.create(set_no="S-1", kind="heap"),
    "itemstate_condition_known": lambda: ItemState.objects.create(item=item(), condition="fine"),
    # choices of the site
    "kitline_kind_known": lambda: KitLine.objects.create(kind="mitten", count=1),
    "kitline_count_positive": lambda: KitLine.objects.create(kind="glove", count=0),
    "kitline_kind_class_unique": lambda: [
        KitLine.objects.create(kind="glove", cls="2", count=1) for _one in range(2)
    ],
    # evidence
    "sitehead_single": lambda: SiteHead.objects.create(only=False),
    "entry_one_subject": lambda: entry(
        item=item(), gear_set=GearSet.objects.create(set_no="S-1", kind="pair")
    ),
    "entry_via_known": lambda: entry(via="fax"),
    "entry_precision_known": lambda: entry(precision="month"),
    "entry_position_from_one": lambda: entry(position=0),
    "entry_correction_names_entry": lambda: entry(kind="corrected"),
    "entry_item_position_unique": lambda: twice(item=item()),
    "entry_set_position_unique": lambda: twice(gear_set=GearSet.objects.create(set_no="S-1", kind="pair")),
    "entry_site_position_unique": twice,
    "labelprint_start_from_one": lambda: printed(start=0),
    "labelprint_copies_from_one": lambda: printed(copies=0),
    "printedlabel_print_label_unique": printed_twice,
    "photo_file_named": lambda: photographed(path=""),
    "photo_shows_something": lambda: photographed(size=0),
    "qualification_ends_after_it_begins": lambda: Qualification.objects.create(
        person=builders.person("clerk", "orla"),
        from_on=NOW.date(),
        until_on=NOW.date() - datetime.timedelta(days=1),
        entry=entry(),
    ),
    "destructionbatch_numbered": lambda: destruction(number=0),
    "destructionbatch_witness_is_another": lambda: destruction(witness=builders.person("clerk", "orla")),
    "destructionbatch_reason_given": lambda: destruction(reason=""),
    "nightlyresult_step_known": lambda: night(step="tea"),
    "nightlyresult_says_something": lambda: night(sentence=""),
    "nightlyresult_once_unique": lambda: [night(run=run) for run in [uuid4()] * 2],
    "holdbatch_about_known": lambda: batch(about="whim"),
    "holdbatch_holds_something": lambda: batch(pieces=0),
    "givenanswer_verdict_known": lambda: GivenAnswer.objects.bulk_create(
        [GivenAnswer(at=timezone.now(), code="A", verdict="fine")]
    ),
}


def test_every_named_constraint_has_a_case():
    named = {
        constraint.name
        for model in apps.get_app_config("gear").get_models()
        for constraint in model._meta.constraints
    }
    assert named == set(OFFENDERS)


@pytest.mark.parametrize("name", OFFENDERS)
def test_the_database_refuses_what_the_constraint_forbids(name):
    with pytest.raises(IntegrityError) as refusal, transaction.atomic():
        OFFENDERS[name]()
    assert name in said(refusal.value, name)


def said(error, name):
    """PostgreSQL names the constraint. SQLite names a check; of a unique key it names columns, or the guard speaks."""
    text = str(error)
    if connection.vendor == "sqlite" and name.endswith("_unique"):
        assert "UNIQUE constraint failed" in text or "append-only" in text
        return name
    return text


def test_only_a_correction_names_an_entry():
    first = entry()
    with pytest.raises(IntegrityError), transaction.atomic():
        entry(position=2, corrects=first)
    assert entry(position=2, kind="corrected", corrects=first).corrects == first


UNIQUE = {
    "Depot.name": lambda: [builders.Depot.objects.create(name="x") for _one in range(2)],
    "Crew.name": lambda: [builders.Crew.objects.create(name="x") for _one in range(2)],
    "User.username": lambda: [User.objects.create(username="x") for _one in range(2)],
    "ItemType.key": lambda: [item_type() for _one in range(2)],
    "Item.item_no": lambda: [Item.objects.create(item_no="G-1", item_type=item_type(key=k)) for k in "ab"],
    "GearSet.set_no": lambda: [GearSet.objects.create(set_no="S-1", kind="pair") for _one in range(2)],
    "HoldBatch.number": lambda: [batch() for _one in range(2)],
    "SiteHead.only": lambda: [SiteHead.objects.create() for _one in range(2)],
}


@pytest.mark.parametrize("name", UNIQUE)
def test_names_and_numbers_are_unique(name):
    with pytest.raises(IntegrityError), transaction.atomic():
        UNIQUE[name]()


@pytest.mark.parametrize("model", ["Item", "User", "GearSet", "Holder", "Depot", "Crew", "ItemType"])
def test_nothing_that_evidence_speaks_of_can_be_deleted(model):
    orla = builders.person("clerk", "orla", crew=builders.crew(), depot=builders.depot())
    left, _right = builders.pair()
    builders.issued(left, by=orla, to=builders.holder("person", "Dev"))
    for row in apps.get_model("gear", model).objects.all():
        if model == "Holder" and not ItemState.objects.filter(holder=row).exists():
            continue
        with pytest.raises(ProtectedError):
            row.delete()
