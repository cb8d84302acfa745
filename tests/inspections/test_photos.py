"""Photos from phones: pixels and nothing else, once, after their record, and only before the eyes they are for."""

import hashlib
import threading
import zipfile
import zlib
from datetime import timedelta
from io import BytesIO
from struct import pack
from uuid import uuid4

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.utils import timezone
from PIL import Image

from gear.actions import photos
from gear.actions.acting import Act
from gear.actions.looks import inspect_before_use
from gear.actions.photos import PhotoRefused, made_anew
from gear.ledger import make_seal, verify
from gear.models import Photo
from gear.queries.photos import content_of
from gear.rules import photos as limits
from tests import builders
from tests.inspections.phones import phone_of, picture, uploaded

pytestmark = pytest.mark.django_db
EICAR = rb"X5O!P%@AP[4\PZX54(P^)7CC)7}$EICAR-STANDARD-ANTIVIRUS-TEST-FILE!$H+H*"


@pytest.fixture(autouse=True)
def media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    return settings.MEDIA_ROOT


@pytest.fixture
def dev(cast):
    return phone_of(cast.dev)


@pytest.fixture
def entry(cast):
    """A cut that Dev reported from his phone."""
    act = Act(cast.dev, via="field", device="phone 1")
    blanket = builders.blanket("B-1")
    return inspect_before_use(blanket, outcome="reject", words=["cut"], place="square_5", act=act)


def files(media):
    return sorted(path for path in media.rglob("*") if path.is_file())


def with_exif():
    """A JPEG that says where and when it was taken, by what, and lies on its side."""
    exif = Image.Exif()
    exif[0x0112] = 6  # turn it by 90 degrees to see it upright
    exif[0x010F] = "Cameras of Penhallow"
    exif.get_ifd(0x8769)[0x9003] = "2026:11:27 06:10:00"
    exif.get_ifd(0x8769)[0x9011] = "-05:00"
    exif.get_ifd(0x8825)[2] = (43.0, 39.0, 5.0)
    profile = b"profile of a screen" * 9
    return picture(exif=exif, icc_profile=profile, comment=b"Dev's own phone", dpi=(72, 72))


# What is kept of a photo: its pixels


def test_nothing_that_was_hidden_in_a_photo_is_kept():
    sent = with_exif()
    assert b"Penhallow" in sent
    assert b"own phone" in sent
    assert b"profile of" in sent
    made = made_anew(sent)
    stored = Image.open(BytesIO(made.data))
    assert not stored.getexif()
    assert set(stored.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert not any(one in made.data for one in (b"Exif", b"Penhallow", b"own phone", b"profile of", b"GPS"))


def test_it_is_turned_upright_before_what_says_so_is_dropped():
    made = made_anew(with_exif())
    assert (made.width, made.height) == (48, 64)
    upright = Image.open(BytesIO(made.data)).convert("L")
    assert upright.getpixel((24, 8)) < 50
    assert upright.getpixel((24, 56)) > 200


def test_the_moment_that_the_camera_states_is_read_first():
    assert made_anew(with_exif()).taken_at.isoformat() == "2026-11-27T06:10:00-05:00"
    assert made_anew(picture()).taken_at is None


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_three_formats_are_read_and_one_is_stored(form):
    made = made_anew(picture(form, size=(2400, 1200)))
    assert Image.open(BytesIO(made.data)).format == "JPEG"
    assert (made.width, made.height) == (limits.LONGEST_SIDE, limits.LONGEST_SIDE // 2)


def test_what_is_see_through_lies_on_white():
    made = made_anew(picture("PNG", mode="RGBA", size=(40, 40)))
    assert Image.open(BytesIO(made.data)).mode == "RGB"


def bomb(side=20_000):
    """A PNG of 20,000 by 20,000 pixels in a few kilobytes."""

    def block(name, content):
        return pack(">I", len(content)) + name + content + pack(">I", zlib.crc32(name + content))

    head = pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    rows = zlib.compress(bytes((side // 8 + 1) * side), 9)
    return b"\x89PNG\r\n\x1a\n" + block(b"IHDR", head) + block(b"IDAT", rows) + block(b"IEND", b"")


def zipped():
    made = BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr("Main.class", b"\xca\xfe\xba\xbe")
    return made.getvalue()


HOSTILE = {
    "svg": (b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>', "NOT_A_PHOTO"),
    "html": (b"<!doctype html><script>alert(1)</script>", "NOT_A_PHOTO"),
    "gif with an archive": (b"GIF89a" + zipped(), "NOT_A_PHOTO"),
    "pdf": (b"%PDF-1.7\n", "NOT_A_PHOTO"),
    "nothing": (b"", "NOT_A_PHOTO"),
    "cut off": (picture()[: len(picture()) // 2], "NOT_A_PHOTO"),
    "only a beginning": (b"\xff\xd8\xff\xe0", "NOT_A_PHOTO"),
    "webp in name alone": (b"RIFF\x00\x00\x00\x00WEBPVP8 ", "NOT_A_PHOTO"),
    "tiff": (picture("TIFF"), "NOT_A_PHOTO"),
    "bomb": (bomb(), "TOO_MANY_PIXELS"),
    "just over the pixels": (picture("PNG", size=(8000, 5001), mode="1"), "TOO_MANY_PIXELS"),
    "too many bytes": (picture() + bytes(limits.MOST_BYTES), "TOO_LARGE"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_no_photo_is_refused_and_leaves_nothing(name, dev, entry, media):
    data, code = HOSTILE[name]
    with pytest.raises(PhotoRefused) as refused:
        made_anew(data)
    assert refused.value.code == code
    answer = uploaded(dev, entry.pk, data)
    assert answer.status_code == (422 if code == "NOT_A_PHOTO" else 413)
    assert answer.json()["refused"] == code
    assert (files(media), Photo.objects.count()) == ([], 0)


@pytest.mark.parametrize("tail", [EICAR, zipped(), b"<script>alert(1)</script>"])
@pytest.mark.parametrize("form", ["JPEG", "PNG"])
def test_what_rides_behind_the_pixels_is_gone(form, tail, dev, entry, media):
    assert uploaded(dev, entry.pk, picture(form) + tail).status_code == 201
    (stored,) = files(media)
    assert tail not in stored.read_bytes()
    assert not zipfile.is_zipfile(stored)


@pytest.mark.parametrize("name", ["../../../etc/x.jpg", "a\0.jpg", "CON", "x" * 300, "<b>.html", "/abs.jpg"])
def test_the_name_of_the_file_is_never_asked(name, dev, entry, media):
    assert uploaded(dev, entry.pk, picture(), name=name).status_code == 201
    (stored,) = files(media)
    assert stored.parent.parent.parent == media / "photos"
    assert stored.stem.isalnum()
    assert len(stored.stem) == 32
    assert stored.suffix == ".jpg"


# One photo, one row, one file


def test_a_photo_is_bound_to_its_entry_by_the_hash_of_its_file(dev, entry, cast):
    photo = uuid4()
    answer = uploaded(dev, entry.pk, picture(), photo=photo, taken_at="2026-11-27T11:10:00Z")
    assert (answer.status_code, answer.json()) == (201, {"id": str(photo), "outcome": "recorded"})
    row = Photo.objects.get()
    stored = content_of(row)
    assert (row.pk, row.entry, row.item, row.by, row.device) == (
        photo,
        entry,
        entry.item,
        cast.dev,
        "phone 1",
    )
    assert (row.sha256, row.size) == (hashlib.sha256(stored).hexdigest(), len(stored))
    assert row.taken_at.isoformat() == "2026-11-27T11:10:00+00:00"


def test_sent_again_it_is_kept_once(dev, entry, media):
    photo = uuid4()
    outcomes = [uploaded(dev, entry.pk, picture(), photo=photo).json()["outcome"] for _twice in range(2)]
    assert outcomes == ["recorded", "already"]
    assert (len(files(media)), Photo.objects.count()) == (1, 1)


def test_its_id_never_stands_for_a_photo_of_another_record(dev, entry, cast):
    act = Act(cast.dev, via="field", device="phone 1")
    other = inspect_before_use(builders.blanket("B-2"), outcome="reject", words=["cut"], act=act)
    photo = uuid4()
    uploaded(dev, entry.pk, picture(), photo=photo)
    again = uploaded(dev, other.pk, picture(), photo=photo)
    assert (again.status_code, again.json()["refused"]) == (422, "ID_REUSED")


def test_a_photo_whose_record_is_not_here_yet_waits(dev, entry):
    answer = uploaded(dev, uuid4(), picture())
    assert (answer.status_code, answer.json()["refused"]) == (409, "NO_RECORD_YET")


def test_nobody_hangs_a_photo_on_the_record_of_another(cast, entry):
    marisol = phone_of(cast.marisol, "phone 2")
    assert uploaded(marisol, entry.pk, picture()).json()["refused"] == "NO_RECORD_YET"


def test_one_record_and_one_person_have_only_so_many(dev, entry, cast, monkeypatch):
    monkeypatch.setattr(limits, "MOST_PER_RECORD", 2)
    monkeypatch.setattr(limits, "MOST_PER_DAY", 3)
    for _one in range(2):
        assert uploaded(dev, entry.pk, picture()).status_code == 201
    third = uploaded(dev, entry.pk, picture())
    assert (third.status_code, third.json()["refused"]) == (422, "TOO_MANY_OF_RECORD")
    act = Act(cast.dev, via="field", device="phone 1")
    other = inspect_before_use(builders.blanket("B-2"), outcome="reject", words=["cut"], act=act)
    assert uploaded(dev, other.pk, picture()).status_code == 201
    last = uploaded(dev, other.pk, picture())
    assert (last.status_code, last.json()["refused"]) == (429, "TOO_MANY_TODAY")


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("cap", ["MOST_PER_RECORD", "MOST_PER_DAY"])
def test_two_that_come_at_once_do_not_both_take_the_last_place(entry, media, monkeypatch, cap):
    monkeypatch.setattr(limits, cap, 1)
    barrier, outcomes = threading.Barrier(2), []
    store = photos._append

    def together(row):
        barrier.wait(timeout=30)  # both have found room by now, and both have stored their file
        store(row)

    def send():
        try:
            outcomes.append(photos.keep(picture(), photo_id=uuid4(), entry=entry)[1])
        except PhotoRefused as error:
            outcomes.append(error.code)
        finally:
            connection.close()

    monkeypatch.setattr(photos, "_append", together)
    threads = [threading.Thread(target=send) for _one in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert set(outcomes) == {
        True,
        {"MOST_PER_RECORD": "TOO_MANY_OF_RECORD", "MOST_PER_DAY": "TOO_MANY_TODAY"}[cap],
    }
    assert len(files(media)) == Photo.objects.count() == 1


def test_a_full_disk_keeps_the_record_and_leaves_the_photo_on_the_phone(dev, entry, monkeypatch):
    def full(*_arguments, **_more):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(default_storage, "save", full)
    answer = uploaded(dev, entry.pk, picture())
    assert (answer.status_code, answer.json()["refused"]) == (507, "NO_ROOM")
    assert Photo.objects.count() == 0
    entry.refresh_from_db()
    assert entry.facts["words"] == ["cut"]


def test_a_row_that_cannot_be_stored_leaves_no_file(entry, media, monkeypatch):
    def breaks(_row):
        raise RuntimeError("the database went away")

    monkeypatch.setattr(photos, "append", breaks)
    with pytest.raises(RuntimeError):
        photos.keep(picture(), photo_id=uuid4(), entry=entry)
    assert files(media) == []


def test_what_a_crash_leaves_behind_is_found_after_a_day_and_removed(dev, entry, media, capsys, monkeypatch):
    uploaded(dev, entry.pk, picture())
    left = default_storage.save("photos/2026/11/left.jpg", ContentFile(b"x"))
    assert photos.orphans() == []  # it may be one that is being stored just now
    monkeypatch.setattr(photos, "ORPHAN_AFTER", timedelta(seconds=-5))
    call_command("orphan_photos")
    call_command("orphan_photos", remove=True)
    assert capsys.readouterr().out.split() == [left, left]
    assert len(files(media)) == Photo.objects.count() == 1


def test_without_a_device_nothing_is_taken(cast, entry):
    assert uploaded(Client(), entry.pk, picture()).json()["refused"] == "NO_DEVICE"


def test_a_moment_in_the_future_is_not_believed(dev, entry):
    uploaded(dev, entry.pk, picture(), taken_at=(timezone.now() + timedelta(days=9)).isoformat())
    assert Photo.objects.get().taken_at is None


# Before whose eyes


@pytest.fixture
def photo(dev, entry):
    uploaded(dev, entry.pk, picture())
    return Photo.objects.get()


def seen(person, photo):
    client = Client()
    client.force_login(person)
    return client.get(f"/photos/{photo.pk}/")


def test_it_is_shown_as_a_picture_and_as_nothing_else(photo, cast):
    answer = seen(cast.halvard, photo)
    assert answer.content == content_of(photo)
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"] == "no-store"
    assert answer["Content-Disposition"].startswith("inline; filename=")


def test_whoever_is_bound_to_another_depot_sees_no_more_than_if_there_were_none(photo, cast):
    far = builders.depot("Far depot")
    outsider = builders.person("clerk", "far", depot=far)
    assert seen(outsider, photo).status_code == 404
    assert seen(cast.marisol, photo).status_code == 200
    near = builders.person("clerk", "near", depot=builders.depot())
    assert seen(near, photo).status_code == 200
    auditor = builders.person("auditor", "far-auditor", depot=far)
    assert seen(auditor, photo).status_code == 200
    assert Client().get(f"/photos/{photo.pk}/").status_code == 302


def test_it_stands_on_the_record_beside_its_entry(photo, cast):
    client = Client()
    client.force_login(cast.orla)
    page = client.get("/items/B-1/").content.decode()
    assert page.count(f'src="/photos/{photo.pk}/"') == 1
    client.force_login(builders.person("clerk", "far", depot=builders.depot("Far depot")))
    assert str(photo.pk) not in client.get("/items/B-1/").content.decode()


# Its file is what was stored


def test_a_changed_and_a_missing_file_are_found_and_not_shown(photo, cast):
    assert list(verify.verify(files=True)) == []
    path = default_storage.path(photo.path)
    with open(path, "wb") as file:
        file.write(picture(size=(8, 8)))
    assert [problem.code for problem in verify.verify(files=True)] == ["PHOTO_CHANGED"]
    assert seen(cast.halvard, photo).status_code == 410
    default_storage.delete(photo.path)
    assert [problem.code for problem in verify.verify(files=True)] == ["PHOTO_MISSING"]
    assert seen(cast.halvard, photo).status_code == 410
    with pytest.raises(CommandError):
        call_command("verify_ledger", files=True)


def test_a_row_that_was_altered_breaks_its_seal(photo, past_the_guards):
    make_seal(timezone.now())
    past_the_guards("UPDATE gear_photo SET sha256 = %s", "f" * 64)
    assert "ROWS_CHANGED" in {problem.code for problem in verify.verify()}
