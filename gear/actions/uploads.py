"""Files between their preview and their commit: kept on the server by their own hash, each person's apart."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import timedelta
from hashlib import sha256

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone

from gear.models import User

KEPT_FOR = timedelta(hours=24)
_HASH = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Upload:
    """A file as it was uploaded. `key` is the SHA-256 of its content."""

    key: str
    name: str
    data: bytes


def keep(user: User, name: str, data: bytes) -> str:
    """Keep an upload for its preview; returns its key. What the same person left lying for a day is cleared away."""
    _clear_old(user)
    key = sha256(data).hexdigest()
    forget(user, key)
    default_storage.save(_path(user, key, "data"), ContentFile(data))
    default_storage.save(_path(user, key, "json"), ContentFile(json.dumps({"name": name[:200]}).encode()))
    return key


def find(user: User, key: str) -> Upload | None:
    """The upload of this person with this key; None where there is none, or its content is not what the key says."""
    if not _HASH.fullmatch(key):
        return None
    try:
        with default_storage.open(_path(user, key, "data")) as file:
            data = file.read()
        with default_storage.open(_path(user, key, "json")) as file:
            name = json.loads(file.read())["name"]
    except (OSError, ValueError, KeyError):
        return None
    return Upload(key, name, data) if sha256(data).hexdigest() == key else None


def forget(user: User, key: str) -> None:
    """Throw an upload away; harmless when it is gone."""
    if _HASH.fullmatch(key):
        for part in ("data", "json"):
            default_storage.delete(_path(user, key, part))


def _folder(user: User) -> str:
    return f"uploads/{user.pk}"


def _path(user: User, key: str, part: str) -> str:
    return f"{_folder(user)}/{key}.{part}"


def _clear_old(user: User) -> None:
    try:
        names = default_storage.listdir(_folder(user))[1]
    except OSError:
        return
    for name in names:
        path = f"{_folder(user)}/{name}"
        if default_storage.get_modified_time(path) < timezone.now() - KEPT_FOR:
            default_storage.delete(path)
