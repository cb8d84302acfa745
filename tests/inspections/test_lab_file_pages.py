"""The pages of lab result files: a mapping made beside a sample, a file looked at and stored, none of it by guess."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from gear.models import Entry
from inspections.models import ElectricalTest, LabFile, LabMapping
from inspections.rules import labfile
from tests import builders
from tests.inspections import cartons, labfiles

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def own_storage(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def orla(cast):
    for number in range(1, 4):
        builders.glove(f"G-{number:05d}")
    client = Client()
    client.force_login(cast.orla)
    return client


def text(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def upload(client, data, **fields):
    name = fields.pop("name", "lab.csv")
    part = "sample" if fields["do"] == "sample" else "file"
    return client.post(reverse("lab_files"), {**fields, part: SimpleUploadedFile(name, data)}, follow=True)


def sampled(client, data=None, **fields):
    return upload(client, data or labfiles.file({}, {}), do="sample", **{"separator": "comma", **fields})


def filled(answer, **changed):
    """The mapping form as a person fills it in for labfiles.COLUMNS."""
    form = answer.context["form"]
    body = {
        "file": answer.context["file"].key, "separator": answer.context["separator"], "name": "The lab, gloves",
        "lab": cartons.lab().pk, "date_format": "MM/DD/YYYY", "decimal": "point",
        "purpose": "in_service", "supply": "ac",
    }  # fmt: skip
    for place, name in enumerate(form.header):
        column = labfiles.COLUMNS[name]
        words = "; ".join(f"{theirs} = {ours}" for theirs, ours in column.words.items())
        body |= {f"to_{place}": column.to, f"unit_{place}": column.unit, f"words_{place}": words}
    return {**body, **changed}


def test_a_mapping_is_made_beside_the_columns_and_first_rows_of_a_sample(cast, orla):
    cartons.lab()
    answer = sampled(orla)
    for said in ("Test date", "03/02/2026", "Leak", "12.5", "PASS"):
        assert said in text(answer), said
    kept = orla.post(reverse("lab_mapping_new"), filled(answer), follow=True)
    assert "The lab, gloves 1 is kept." in text(kept)
    assert labfile.from_json(LabMapping.objects.get().content) == labfiles.columns()


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("unit_4", "", "Leak: choose its unit, one of mA, uA, A."),
        ("unit_4", "kV", "Leak: choose its unit"),
        ("to_0", "", "No column is chosen for Our item number"),
        ("to_10", "item_no", "Our item number is given twice."),
        ("words_7", "PASS = good", "PASS = good is no word of ours."),
        ("words_7", "PASS", "PASS = accept; FAIL = reject"),
        ("words_7", "P = reject; p = accept", "p stands here twice."),
        ("date_format", "", "required"),
        ("name", "", "required"),
    ],
)
def test_what_a_mapping_leaves_open_is_told_and_nothing_kept(cast, orla, field, typed, said):
    answer = sampled(orla)
    refused = orla.post(reverse("lab_mapping_new"), filled(answer, **{field: typed}))
    assert refused.status_code == 422
    assert said in text(refused)
    assert not LabMapping.objects.exists()


def test_a_change_starts_from_the_last_version_and_keeps_it(cast, orla):
    first = labfiles.mapping(cast.orla)
    answer = sampled(orla, start_from=first.pk)
    form = answer.context["form"]
    assert form["unit_4"].value() == "mA"
    assert form["words_7"].value() == "FAIL = reject; PASS = accept"
    orla.post(reverse("lab_mapping_new"), filled(answer, unit_4="uA"))
    assert list(LabMapping.objects.order_by("version").values_list("name", "version")) == [
        (first.name, 1),
        (first.name, 2),
    ]
    shown = text(orla.get(reverse("lab_mapping", args=[first.pk])))
    assert "Other versions" in shown


def test_a_file_is_looked_at_and_then_stored(cast, orla):
    through = labfiles.mapping(cast.orla)
    one = cartons.sent(cast.orla, builders.glove("G-00008"))
    entries = Entry.objects.count()
    answer = upload(
        orla, labfiles.file({}, {"Result": "FAIL"}), do="read", mapping=through.pk, shipment=one.number
    )
    for said in (
        "Nothing is stored yet.",
        "matched",
        "verdict differs from ours: 1",
        "not in the shipment: 2",
        "No result for: G-00008.",
    ):
        assert said in text(answer), said
    assert Entry.objects.count() == entries
    body = {"file": answer.context["file"].key, "mapping": through.pk, "shipment": one.number}
    stored = orla.post(reverse("lab_file"), body, follow=True)
    assert "lab.csv: 2 new tests stored." in text(stored)
    assert ElectricalTest.objects.count() == 2
    assert LabFile.objects.get().shipment == one
    assert "The lab, gloves 1" in text(orla.get(reverse("lab_files")))
    again = upload(orla, labfiles.file({}, {"Result": "FAIL"}), do="read", mapping=through.pk)
    assert "Everything in this file is in the book already." in text(again)


def test_a_column_in_another_unit_is_named_over_the_lines(cast, orla):
    through = labfiles.mapping(cast.orla)
    answer = upload(orla, labfiles.file({"Leak": "900"}, {"Leak": "850"}), do="read", mapping=through.pk)
    assert "Unit? The readings under Leak are not in the unit that the mapping says." in text(answer)
    body = {"file": answer.context["file"].key, "mapping": through.pk, "shipment": ""}
    assert orla.post(reverse("lab_file"), body).status_code == 409
    assert not ElectricalTest.objects.exists()


def test_a_file_with_other_columns_asks_for_the_next_version(cast, orla):
    through = labfiles.mapping(cast.orla)
    data = labfiles.file({}).replace(b"Initials", b"Inspector")
    answer = upload(orla, data, do="read", mapping=through.pk)
    assert answer.status_code == 422
    assert "make the next version of the mapping" in text(answer)


@pytest.mark.parametrize("query", [{}, {"file": "0" * 64, "mapping": "1"}, {"file": "x", "mapping": "one"}])
def test_a_file_that_is_not_there_is_asked_for_again(cast, orla, query):
    assert orla.get(reverse("lab_file"), query).status_code == 404


def test_a_sample_without_rows_or_with_a_column_twice_is_refused_with_a_sentence(cast, orla):
    assert "The file is empty." in text(sampled(orla, b" \n"))
    assert "Columns stand twice: Leak." in text(sampled(orla, b"Leak,Leak\n1,2\n"))


def test_the_auditor_reads_what_was_read_how_and_uploads_nothing(cast, orla):
    through = labfiles.mapping(cast.orla)
    reader = Client()
    reader.force_login(cast.halvard)
    assert "Show every line" not in text(reader.get(reverse("lab_files")))
    assert reader.get(reverse("lab_mapping", args=[through.pk])).status_code == 200
    assert reader.post(reverse("lab_files"), {"do": "read"}).status_code == 403
