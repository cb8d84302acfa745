"""The files of photos against the hashes that the seals cover. Reading them all takes long, so it is asked for."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from django.core.files.storage import default_storage
from django.utils.translation import gettext as _

from gear.ledger.problems import Problem
from gear.models import Photo


def photo_problems() -> Iterator[Problem]:
    """Every photo whose file is gone or is not the one that was stored."""
    for photo in Photo.objects.select_related("item").order_by("at", "pk").iterator(chunk_size=200):
        try:
            with default_storage.open(photo.path) as file:
                found = hashlib.sha256(file.read()).hexdigest()
        except OSError:
            yield _problem(photo, "PHOTO_MISSING", _("its file is gone"))
            continue
        if found != photo.sha256:
            yield _problem(photo, "PHOTO_CHANGED", _("its file is not the one that was stored"))


def _problem(photo: Photo, code: str, why: str) -> Problem:
    sentence = _(
        "A photo of %(item)s (%(path)s): %(why)s. Put it back from a backup; the record itself is whole."
    )
    told = {"item": photo.item.item_no, "path": photo.path, "why": why}
    return Problem(f"photo:{photo.pk}", code, sentence % told)
