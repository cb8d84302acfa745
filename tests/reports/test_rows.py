"""Rows as JSON: every table is told or left out for a reason, nothing secret is, and the same row can be made again."""

import json
import re

import pytest
from django.apps import apps
from django.utils import timezone

from gear.ledger import append, seals
from gear.ledger.rows import Maker, Table, WrongRow, reason_left_out, tables, told_entries, told_heads
from gear.models import Entry, Item, ItemState, KitLine, User
from gear.models.evidence import Sealed
from gear.rules.hashing import entry_hash
from inspections.models import Device
from tests import builders
from tests.gear.sealed_rows import MAKE as OF_GEAR
from tests.gear.sealed_rows import given
from tests.inspections.sealed_rows import MAKE as OF_INSPECTIONS
from tests.reports.sealed_rows import MAKE as OF_REPORTS

MAKE = {**OF_GEAR, **OF_INSPECTIONS, **OF_REPORTS}
SMELLS = re.compile(r"password|\bpin\b|^pin|secret|token|digest|key$|private|credential|salt")
# Columns that bear such a name and are none.
HARMLESS = {("gear.itemtype", "key"), ("reports.stopconfirmation", "key")}


def maker():
    return Maker(
        people=dict(User.objects.values_list("username", "pk")),
        items=dict(Item.objects.values_list("item_no", "pk")),
        sets={},
        content=lambda name: name.encode(),
    )


def plain_columns(row):
    return {field.name: getattr(row, field.attname) for field in row._meta.concrete_fields}


# What leaves and what stays


def test_every_table_is_told_or_says_why_it_stays():
    told = {table.model for table in tables()}
    for model in apps.get_models():
        reason = reason_left_out(model)  # KeyError: a table of the framework that nobody thought about
        assert (model in told) == (reason is None), model
        assert reason is None or len(reason) > 10, model


def test_no_column_that_smells_of_a_secret_is_told():
    smelling = {
        (table.name, name) for table in tables() for name in table.columns if SMELLS.search(name.lower())
    }
    assert smelling == HARMLESS


def test_secrets_are_columns_that_exist_and_of_no_sealed_table():
    """The leaf of a sealed row could not be worked out again without one of its columns."""
    for model in apps.get_models():
        secret = getattr(model, "SECRETS", frozenset())
        assert secret <= {field.name for field in model._meta.concrete_fields}, model
        assert not (secret and issubclass(model, Sealed)), model


@pytest.mark.django_db
def test_nothing_that_proves_a_person_or_a_device_is_told(cast):
    Device.objects.create(
        name="Tablet 1", kind="shared", digest="d" * 64, added_at=timezone.now(), added_by=cast.pim
    )
    cast.dev.pin = "a-hash-of-a-pin"
    cast.dev.save()
    told = json.dumps([list(Table(model, None).told()) for model in (User, Device)])
    for secret in (cast.dev.password, cast.dev.pin, "d" * 64):
        assert secret
        assert secret not in told
    assert "Tablet 1" in told


# As a seal hashes it


@pytest.mark.django_db
@pytest.mark.parametrize("model", MAKE, ids=lambda model: model.__name__)
def test_a_sealed_row_is_told_as_its_leaf_has_it_and_makes_the_same_row(model):
    row = MAKE[model]()
    append(row)
    table = next(one for one in tables() if one.model is model)
    (told,) = (one for one in table.told() if one[table.key] == str(row.pk))
    told = json.loads(json.dumps(told))
    hashed = {name: value for name, value in told.items() if name != "content"}
    hashed = {
        name: one for name, one in hashed.items() if not (name in getattr(model, "LATER", ()) and one is None)
    }
    has = {"by": "", "item": ""} | hashed
    assert entry_hash({"table": model._meta.model_name, **has}, "") == seals.leaf_of(row)
    made, stored = maker().row(table, told), model.objects.get(pk=row.pk)
    if table.files:
        stored.content = f"content/{table.name}/{row.pk}.content".encode()
    assert plain_columns(made) == plain_columns(stored)


@pytest.mark.django_db
def test_entries_are_told_as_they_were_hashed_and_make_the_same_entry():
    blanket = builders.blanket("B-1")
    builders.tested(blanket, by=builders.person("clerk", "orla"))
    told = list(told_entries(Entry.objects.filter(item=blanket).order_by("position")))
    assert [one["subject"] for one in told] == ["item:B-1", "item:B-1"]
    for one in told:
        stated = {name: value for name, value in one.items() if name not in ("previous", "hash")}
        assert entry_hash(stated, one["previous"]) == one["hash"]
        made = maker().entry(json.loads(json.dumps(one)))
        assert plain_columns(made) == plain_columns(Entry.objects.get(pk=one["id"]))


@pytest.mark.django_db
def test_heads_tell_how_many_entries_there_are_and_which_is_newest():
    left, _right = builders.pair("P-1")
    heads = {one["subject"]: one for one in told_heads()}
    state = ItemState.objects.get(item=left)
    assert heads[f"item:{left.item_no}"] == {
        "subject": f"item:{left.item_no}",
        "count": 2,
        "hash": state.head_hash,
        "whole": True,
    }
    assert heads["set:P-1"]["count"] == 1


@pytest.mark.django_db
def test_the_number_of_statements_does_not_grow_with_the_rows(django_assert_num_queries):
    for _one in range(3):
        append(given(builders.blanket()))
    table = next(one for one in tables() if one.name == "gear.givenanswer")
    with django_assert_num_queries(1):
        assert len(list(table.told())) == 3


# Rows that make none


@pytest.mark.parametrize(
    ("told", "why"),
    [
        ({"id": 1, "kind": "glove", "cls": "2", "count": 2, "place": 0, "extra": 1}, "no column extra"),
        ({"id": 1, "kind": "glove", "cls": "2", "place": 0}, "lacks its column count"),
        ({"id": 1, "kind": "glove", "cls": "2", "count": "two", "place": 0}, "count cannot be 'two'"),
    ],
)
def test_a_row_with_another_column_or_value_is_refused_by_name(told, why):
    table = next(one for one in tables() if one.model is KitLine)
    with pytest.raises(WrongRow, match=why):
        Maker({}, {}, {}, str.encode).row(table, told)
