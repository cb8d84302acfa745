"""Files brought in through the pages: upload, look, store; the browser is trusted with a hash and nothing else."""

import os
import re
import time
from hashlib import sha256

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from gear.actions import uploads
from gear.actions.committing import Limits
from gear.models import Entry, ImportedFile, Item, Refusal
from gear.views import importing
from inspections.models import ElectricalTest
from tests.books import bench_book, gear_book

pytestmark = pytest.mark.django_db
PAIR = [
    {"item_no": "G-1", "hand": "L", "set_no": "P-1"},
    {"item_no": "G-2", "hand": "R", "set_no": "P-1"},
]


@pytest.fixture(autouse=True)
def own_storage(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def orla(client, cast):
    client.force_login(cast.orla)
    return client


def upload(client: Client, data: bytes, *, route: str = "import_gear", name: str = "gear.csv"):
    return client.post(reverse(route), {"file": SimpleUploadedFile(name, data)})


def previewed(client: Client, data: bytes, **choices) -> str:
    """The address of the preview that an upload leads to."""
    answer = upload(client, data, **choices)
    assert answer.status_code == 302
    return answer["Location"]


def text(answer) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_upload_look_and_store(orla, cast, tmp_path):
    data = gear_book(tmp_path, *PAIR).read_bytes()
    address = previewed(orla, data)
    assert address == f"/import/gear/?file={sha256(data).hexdigest()}"
    page = orla.get(address)
    assert "Nothing is stored yet." in text(page)
    assert "Store 2 new lines" in text(page)
    assert "person Dev" in text(page)
    assert Item.objects.count() == 0

    answer = orla.post("/import/gear/", {"commit": sha256(data).hexdigest()}, follow=True)
    assert "gear.csv: 2 new lines stored." in text(answer)
    assert Item.objects.count() == 2
    kept = ImportedFile.objects.get()
    assert (kept.by, kept.name, bytes(kept.content)) == (cast.orla, "gear.csv", data)
    assert {(entry.by, entry.via) for entry in Entry.objects.all()} == {(cast.orla, "import")}
    assert "gear.csv" in text(orla.get("/import/"))
    assert uploads.find(cast.orla, sha256(data).hexdigest()) is None  # no longer lying about


def test_test_results_too(orla, tmp_path):
    previewed(orla, gear := gear_book(tmp_path, *PAIR).read_bytes())
    orla.post("/import/gear/", {"commit": sha256(gear).hexdigest()})
    data = bench_book(
        tmp_path, {"item_no": "G-1", "lab_result": "reject"}, {"item_no": "G-2", "seconds": "3"}
    ).read_bytes()
    page = text(orla.get(previewed(orla, data, route="import_tests", name="tests.csv")))
    assert "1 accepted 1 void" in page
    assert "The lab says reject, the readings say accepted" in page
    orla.post("/import/tests/", {"commit": sha256(data).hexdigest()})
    assert ElectricalTest.objects.count() == 2


def test_a_refused_line_comes_first_and_nothing_can_be_stored(orla, tmp_path):
    data = gear_book(tmp_path, *PAIR, {"item_no": "G-3", "length_mm": "14"}).read_bytes()
    page = orla.get(previewed(orla, data))
    assert "1 line is refused, so nothing can be stored." in text(page)
    assert "length_mm looks like another unit: 14. Give it in mm." in text(page)
    assert 'name="commit"' not in page.content.decode()
    first_row = re.search(r"<tbody>.*?</tr>", page.content.decode(), re.S)
    assert "G-3" in first_row[0]
    answer = orla.post("/import/gear/", {"commit": sha256(data).hexdigest()})
    assert answer.status_code == 409
    assert Item.objects.count() == 0
    assert Refusal.objects.get().code == "LINES_REFUSED"


def test_a_file_that_is_known_needs_no_storing(orla, tmp_path):
    data = gear_book(tmp_path, *PAIR).read_bytes()
    previewed(orla, data)
    orla.post("/import/gear/", {"commit": sha256(data).hexdigest()})
    page = orla.get(previewed(orla, data))
    assert "Everything in this file is in the book already." in text(page)
    assert 'name="commit"' not in page.content.decode()


def test_a_change_between_preview_and_storing_is_noticed(orla, cast, tmp_path):
    data = gear_book(tmp_path, *PAIR).read_bytes()
    previewed(orla, data)
    other = gear_book(tmp_path, {**PAIR[0], "size": "11"}).read_bytes()
    previewed(orla, other)
    orla.post("/import/gear/", {"commit": sha256(other).hexdigest()})
    answer = orla.post("/import/gear/", {"commit": sha256(data).hexdigest()})
    assert answer.status_code == 409
    assert "The book changed since the preview" in text(answer)
    assert Item.objects.count() == 1


# What comes from the browser


def test_only_what_the_same_person_uploaded_can_be_stored(orla, cast, tmp_path):
    data = gear_book(tmp_path, *PAIR).read_bytes()
    previewed(orla, data)
    other = Client()
    other.force_login(cast.pim)
    key = sha256(data).hexdigest()
    assert other.get(f"/import/gear/?file={key}").status_code == 404
    assert other.post("/import/gear/", {"commit": key}).status_code == 404
    assert Item.objects.count() == 0


@pytest.mark.parametrize("key", ["", "0" * 64, "../../../etc/passwd", "x" * 64, "A" * 64, "0" * 63 + "\n"])
def test_a_key_that_is_none_leads_nowhere(orla, key):
    assert orla.get("/import/gear/", {"file": key}).status_code == 404
    assert orla.post("/import/gear/", {"commit": key}).status_code == 404


def test_a_stored_upload_that_was_altered_is_not_used(orla, cast, tmp_path):
    data = gear_book(tmp_path, *PAIR).read_bytes()
    previewed(orla, data)
    path = f"uploads/{cast.orla.pk}/{sha256(data).hexdigest()}.data"
    with open(default_storage.path(path), "ab") as file:
        file.write(b"G-3,glove,Dev,person\n")
    assert orla.post("/import/gear/", {"commit": sha256(data).hexdigest()}).status_code == 404


def test_no_file_is_one_sentence(orla):
    answer = orla.post("/import/gear/", {})
    assert answer.status_code == 422
    assert "Choose a file first." in text(answer)


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "empty"),
        (b"item_no;kind;holder;holder_kind\n", "semicolons"),
        (b"item_no,kind\xff,holder,holder_kind\n", "not UTF-8"),
        (b"item_no,kind,holder,holder_kind,<script>\n", "Unknown columns: &lt;script&gt;"),
        (b"PK\x03\x04zip", "not a readable workbook"),
    ],
)
def test_a_file_that_cannot_be_read_is_one_sentence(orla, data, sentence):
    answer = orla.get(previewed(orla, data))
    assert answer.status_code == 422
    assert sentence in answer.content.decode()


def test_a_name_cannot_leave_its_folder_or_the_page(orla, tmp_path):
    data = gear_book(tmp_path, *PAIR).read_bytes()
    page = orla.get(previewed(orla, data, name="../../<b>x</b>.csv"))
    assert "<b>x</b>" not in page.content.decode()
    assert sorted(path.suffix for path in (tmp_path / "media").rglob("*") if path.is_file()) == [
        ".data",
        ".json",
    ]


def test_too_large_a_file_is_cut_off(orla, monkeypatch):
    monkeypatch.setattr(importing, "BY_PAGE", Limits(1000, 50_000))
    answer = upload(orla, b"x" * 1001)
    assert answer.status_code == 413
    assert "Split it." in text(answer)
    assert upload(orla, b"x" * 1000).status_code == 302


def test_too_many_lines_are_refused(orla, tmp_path, monkeypatch):
    monkeypatch.setattr(importing, "BY_PAGE", Limits(10_000, 1))
    answer = orla.get(previewed(orla, gear_book(tmp_path, *PAIR).read_bytes()))
    assert "more than 1 rows" in text(answer)


def test_what_lay_about_for_a_day_is_cleared_away(orla, cast, tmp_path):
    old = gear_book(tmp_path, *PAIR).read_bytes()
    previewed(orla, old)
    yesterday = time.time() - uploads.KEPT_FOR.total_seconds() - 60
    for path in (tmp_path / "media" / "uploads" / str(cast.orla.pk)).iterdir():
        os.utime(path, (yesterday, yesterday))
    previewed(orla, gear_book(tmp_path, PAIR[0]).read_bytes())
    assert uploads.find(cast.orla, sha256(old).hexdigest()) is None
    assert len([path for path in (tmp_path / "media").rglob("*") if path.is_file()]) == 2


def test_every_write_needs_the_token_of_its_page(cast, tmp_path):
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(cast.orla)
    for route in ("import_gear", "import_tests"):
        assert upload(strict, b"item_no\n", route=route).status_code == 403
        assert strict.post(reverse(route), {"commit": "0" * 64}).status_code == 403


@pytest.mark.parametrize(
    ("who", "status"), [("orla", 200), ("pim", 200), ("dev", 403), ("ines", 403), ("halvard", 403)]
)
def test_clerks_and_administrators_bring_in_files(client, cast, who, status):
    client.force_login(getattr(cast, who))
    for route in ("import", "import_gear", "import_tests"):
        assert client.get(reverse(route)).status_code == status


# Many lines


def test_thousands_of_lines_come_in_pages(orla, tmp_path):
    rows = [{"item_no": f"B-{number:04d}", "kind": "blanket", "hand": ""} for number in range(450)]
    rows[449]["cls"] = "7"
    address = previewed(orla, gear_book(tmp_path, *rows).read_bytes())
    first, last = orla.get(address), orla.get(f"{address}&page=3")
    assert first.content.decode().count("<tr>") == 201
    assert "B-0449" in first.content.decode()
    assert last.content.decode().count("<tr>") == 51
    assert "Page 3 of 3" in text(last)
    assert orla.get(f"{address}&page=x").status_code == 200


def test_the_pages_make_as_many_queries_for_many_files_as_for_few(
    orla, tmp_path, django_assert_max_num_queries
):
    for number in range(3):
        data = gear_book(tmp_path, {"item_no": f"B-{number}", "kind": "blanket", "hand": ""}).read_bytes()
        previewed(orla, data)
        orla.post("/import/gear/", {"commit": sha256(data).hexdigest()})
    with django_assert_max_num_queries(4):  # session, person, files, and whoever brought them in
        orla.get("/import/")
