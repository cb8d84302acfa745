"""Photos: made anew so that nothing hidden in them is kept, stored before their row, never without it for long."""

from __future__ import annotations

import hashlib
import logging
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from io import BytesIO
from uuid import UUID

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from PIL import Image, ImageOps

from gear.ledger import append, join_writers
from gear.models import Entry, Photo, User
from gear.rules import photos as rules

log = logging.getLogger(__name__)
FOLDER = "photos"
ORPHAN_AFTER = timedelta(hours=24)  # a file without a row may be one that is being stored just now
QUALITY = 82
Image.MAX_IMAGE_PIXELS = rules.MOST_PIXELS  # more warns, twice as many raises; both are refused here
_TAKEN, _TAKEN_OFFSET, _EXIF = (
    0x9003,
    0x9011,
    0x8769,
)  # EXIF: DateTimeOriginal, OffsetTimeOriginal, their directory

WORDS = {
    "TOO_LARGE": _("This photo is too large. Take it again with fewer pixels."),
    "TOO_MANY_PIXELS": _("This photo has too many pixels. Take it again with fewer."),
    "NOT_A_PHOTO": _("This is no photo that can be read: JPEG, PNG or WebP. Take it again."),
    "TOO_MANY_OF_RECORD": _("This record has as many photos as one may have."),
    "TOO_MANY_TODAY": _("You sent as many photos today as one person may. The photo stays on the phone."),
    "ID_REUSED": _("This id was used before for a photo of another record."),
    "NO_ROOM": _(
        "There is no room for photos on the server. The photo stays on the phone; the record is safe."
    ),
}


class PhotoRefused(Exception):
    """A photo that is not kept. `code` is stable; the message says what to do."""

    def __init__(self, code: str):
        super().__init__(str(WORDS[code]))
        self.code = code


@dataclass(frozen=True)
class MadeAnew:
    """A photo as it is stored: JPEG bytes, its pixels, and when the camera says that it was taken."""

    data: bytes
    width: int
    height: int
    taken_at: datetime | None


def made_anew(data: bytes) -> MadeAnew:
    """The pixels of a photo and nothing else of it: upright, at most LONGEST_SIDE, without EXIF, XMP, ICC or tail.

    Raises PhotoRefused with TOO_LARGE, TOO_MANY_PIXELS or NOT_A_PHOTO.
    """
    if len(data) > rules.MOST_BYTES:
        raise PhotoRefused("TOO_LARGE")
    found = rules.format_of(data)
    if found is None:
        raise PhotoRefused("NOT_A_PHOTO")
    try:
        with Image.open(BytesIO(data), formats=[found]) as opened:
            if opened.width * opened.height > rules.MOST_PIXELS:
                raise PhotoRefused("TOO_MANY_PIXELS")
            return _pixels_of(opened)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise PhotoRefused("TOO_MANY_PIXELS") from None
    except PhotoRefused:
        raise
    except Exception as error:  # a decoder raises anything at all on a file made to break it
        log.info("A photo could not be read: %s", error)
        raise PhotoRefused("NOT_A_PHOTO") from None


def _pixels_of(opened: Image.Image) -> MadeAnew:
    taken_at = _taken_at(opened)
    opened.draft("RGB", (rules.LONGEST_SIDE, rules.LONGEST_SIDE))
    upright = ImageOps.exif_transpose(opened).convert("RGBA")
    upright.thumbnail((rules.LONGEST_SIDE, rules.LONGEST_SIDE))
    # A fresh image has no profile, comment or other block that saving would carry over.
    fresh = Image.new("RGB", upright.size, "white")
    fresh.paste(upright, mask=upright)
    stored = BytesIO()
    fresh.save(stored, "JPEG", quality=QUALITY)
    return MadeAnew(stored.getvalue(), *fresh.size, taken_at)


def _taken_at(opened: Image.Image) -> datetime | None:
    """What the camera says, in the site's zone where it names no other."""
    stated = opened.getexif().get_ifd(_EXIF)
    try:
        taken = datetime.strptime(str(stated[_TAKEN]), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 - its zone follows
        if offset := str(stated.get(_TAKEN_OFFSET, "")).strip("\0 "):
            return datetime.fromisoformat(f"{taken.isoformat()}{offset}")
        return timezone.make_aware(taken)
    except (KeyError, ValueError):
        return None


def keep(
    data: bytes,
    *,
    photo_id: UUID,
    entry: Entry,
    taken_at: datetime | None = None,
    device: str = "",
) -> tuple[Photo, bool]:
    """Store one photo of an entry about an item: (its row, whether it was stored now). Sent again, it is stored once.

    `taken_at` is the phone's word, for a photo whose camera says nothing. Raises PhotoRefused; then nothing is kept.
    """
    if known := Photo.objects.filter(pk=photo_id).first():
        return _same(known, entry), False
    _check_room(entry)
    made = made_anew(data)
    try:
        path = default_storage.save(_new_path(), ContentFile(made.data))
    except OSError:
        log.exception("A photo could not be stored")
        raise PhotoRefused("NO_ROOM") from None
    row = Photo(
        id=photo_id,
        by=entry.by,
        item=entry.item,
        entry=entry,
        device=device[:80],
        taken_at=_believable(made.taken_at or taken_at),
        path=path,
        sha256=hashlib.sha256(made.data).hexdigest(),
        size=len(made.data),
        width=made.width,
        height=made.height,
    )
    try:
        _append(row)
    except BaseException as error:
        default_storage.delete(path)
        known = Photo.objects.filter(pk=photo_id).first() if isinstance(error, IntegrityError) else None
        if known is None:
            raise
        return _same(known, entry), False
    return row, True


def _append(row: Photo) -> None:
    """Store a row where there still is room for it. Photos that come at once are counted one after the other.

    SQLite lets one writer in at a time; elsewhere the rows of the person and of the entry are the lock.
    """
    with transaction.atomic():
        join_writers()  # before any row is locked
        list(User.objects.select_for_update(no_key=True).filter(pk=row.by_id).values_list("pk"))
        list(Entry.objects.select_for_update(no_key=True).filter(pk=row.entry_id).values_list("pk"))
        _check_room(row.entry)
        append(row)


def _same(known: Photo, entry: Entry) -> Photo:
    if known.entry_id != entry.pk:
        raise PhotoRefused("ID_REUSED")
    return known


def _check_room(entry: Entry) -> None:
    if Photo.objects.filter(entry=entry).count() >= rules.MOST_PER_RECORD:
        raise PhotoRefused("TOO_MANY_OF_RECORD")
    since = timezone.now() - timedelta(days=1)
    if Photo.objects.filter(by=entry.by, at__gt=since).count() >= rules.MOST_PER_DAY:
        raise PhotoRefused("TOO_MANY_TODAY")


def _believable(taken_at: datetime | None) -> datetime | None:
    return None if taken_at and taken_at > timezone.now() + timedelta(days=1) else taken_at


def _new_path() -> str:
    """A name of our own making: what the sender calls the file is not asked."""
    return f"{FOLDER}/{timezone.now():%Y/%m}/{secrets.token_hex(16)}.jpg"


def orphans() -> list[str]:
    """Files of photos that no row names, a day old or more: what a crash between file and row leaves behind."""
    old = timezone.now() - ORPHAN_AFTER
    lying = [path for path in _files(FOLDER) if default_storage.get_modified_time(path) < old]
    named = set(Photo.objects.filter(path__in=lying).values_list("path", flat=True))
    return sorted(path for path in lying if path not in named)


def remove_orphans() -> list[str]:
    """Delete them; returns what was deleted."""
    found = orphans()
    for path in found:
        default_storage.delete(path)
    return found


def _files(folder: str) -> Iterator[str]:
    try:
        folders, names = default_storage.listdir(folder)
    except FileNotFoundError:
        return
    yield from (f"{folder}/{name}" for name in names)
    for inner in folders:
        yield from _files(f"{folder}/{inner}")
