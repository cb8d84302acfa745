"""One row for each sealed table but entries, ready to be stored."""

import hashlib
from uuid import uuid4

from gear.models import (
    Entry,
    GivenAnswer,
    HoldBatch,
    ImportedFile,
    LabelPrint,
    Photo,
    Refusal,
    Submission,
)
from tests import builders


def refusal(**columns):
    return Refusal(**{"via": "web", "act": "issue", "code": "NOT_GOOD", "subject": "B-1", **columns})


def given(item=None, **columns):
    return GivenAnswer(**{"item": item, "code": "ABC", "verdict": "stop", "reasons": ["HELD"], **columns})


def imported(**columns):
    content = b"item_no\nB-1\n"
    sha256 = hashlib.sha256(content).hexdigest()
    known = {
        "book": "gear",
        "name": "a.csv",
        "sha256": sha256,
        "content": content,
        "rows_new": 1,
        "rows_known": 0,
    }
    return ImportedFile(**{**known, **columns})


def sent(**columns):
    orla = builders.person("clerk", "orla")
    return Submission(
        **{"id": uuid4(), "by": orla, "act": "hold", "fingerprint": "f", "answer": {"ok": 1}, **columns}
    )


def batch(**columns):
    known = {"number": "H-0001", "about": "recall", "subject": "Recall: lot 7A", "reason": "x", "pieces": 1}
    return HoldBatch(**{**known, "by": builders.person("clerk", "orla"), **columns})


def printed(**columns):
    stated = {"stock": "letter_30", "start": 1, "copies": 1, "dates": True, "codes": ["ABCDEFGHJKM"]}
    return LabelPrint(**{"id": uuid4(), "by": builders.person("clerk", "orla"), **stated, **columns})


def photo(**columns):
    """Of the first entry about an item; of a blanket that is received for it where there is none."""
    about = Entry.objects.filter(item__isnull=False).order_by("item_id", "position")
    entry = about.first() or Entry.objects.get(item=builders.blanket())
    stated = {"path": "photos/2026/11/a.jpg", "sha256": "0" * 64, "size": 9, "width": 4, "height": 3}
    return Photo(**{"entry": entry, "item": entry.item, "by": entry.by, **stated, **columns})


MAKE = {
    Refusal: refusal,
    GivenAnswer: given,
    ImportedFile: imported,
    Submission: sent,
    HoldBatch: batch,
    LabelPrint: printed,
    Photo: photo,
}
