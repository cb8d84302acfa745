"""What the tests of whole copies share: a small book with a photo and a seal, and empty places beside it."""

from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import pytest
from django.conf import settings
from django.db import connection, connections
from django.utils import timezone

from gear.actions import photos
from gear.backups import scratch
from gear.ledger import make_seal
from gear.models import Seal
from gear.queries import answer, question
from tests import builders
from tests.inspections.phones import picture


@pytest.fixture(autouse=True)
def places(settings, tmp_path, monkeypatch):
    """Files of a test of its own; nothing is forced to disk, since no power fails here."""
    settings.DATA_DIR, settings.MEDIA_ROOT = tmp_path, tmp_path / "media"
    if connection.vendor == "sqlite":
        options = connections["default"].settings_dict["OPTIONS"]
        monkeypatch.setitem(options, "init_command", options["init_command"].replace("FULL", "OFF"))


@pytest.fixture
def book(cast):
    """A good blanket and a good pair, a photo, and a seal over all of it."""
    blanket = builders.blanket("B-1", label="ABCDEFGHJKM")
    builders.tested(blanket, *builders.pair("P-1"))
    entry = builders.happened(blanket, "noted", note="seen", by=cast.dev)
    photos.keep(picture(), photo_id=uuid4(), entry=entry)
    make_seal(timezone.now())
    return blanket


def verdict(item_no="B-1"):
    """(verdict, codes of the reasons) now."""
    found = answer(item_no, question())
    return found.verdict, [reason.code for reason in found.reasons]


def newest_seal():
    """As it is printed."""
    seal = Seal.objects.latest("number")
    return f"{seal.number}:{seal.hash}"


@contextmanager
def empty_file():
    """A SQLite database that is not there yet, in a folder of its own."""
    with scratch.folder_beside(Path(settings.DATA_DIR)) as work:
        yield {"ENGINE": "django.db.backends.sqlite3", "NAME": str(work / "empty.sqlite3"), "OPTIONS": {}}


@contextmanager
def empty_place():
    """An installation of the same kind in which nothing was recorded yet."""
    current = scratch.current()
    if scratch.is_sqlite(current):
        with scratch.folder_beside(Path(str(current["NAME"])).parent) as work:
            yield {"NAME": str(work / "empty.sqlite3")}
        return
    with scratch.filled_postgresql(current, None) as database:
        yield database
