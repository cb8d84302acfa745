"""The page that is the phone client, its manifest, and the worker that keeps both for the hour without a network."""

from __future__ import annotations

import base64
import hashlib
import json
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.csrf import ensure_csrf_cookie

from inspections.field import signing
from inspections.field.piece_words import piece_words

HERE = Path(__file__).resolve().parent.parent
STATIC = HERE / "static"
SHELL = "inspections/field/shell.html"
WORKER = "inspections/field/worker.js"
SCREENS = sorted(
    f"inspections/field/screens/{path.name}"
    for path in (HERE / "templates/inspections/field/screens").glob("*.html")
)
# What the page loads besides its own folder.
BESIDES = (
    "gear/icon.svg",
    "gear/looks.css",
    "gear/site.css",
    "inspections/icons/icon-192.png",
    "inspections/vendor/qr/decode.js",
    "inspections/vendor/qr/index.js",
)
ICONS = (
    ("inspections/icons/icon-192.png", "192x192", "any"),
    ("inspections/icons/icon-512.png", "512x512", "any"),
    ("inspections/icons/maskable-512.png", "512x512", "maskable"),
)


@ensure_csrf_cookie
def shell(request: HttpRequest) -> HttpResponse:
    """The one page of the client. It holds words and pictures alone: what it tells comes signed, from the bundle."""
    page = _page() | {"version": version_of(request, shell_files())}
    return render(request, SHELL, page)


def manifest(request: HttpRequest) -> HttpResponse:
    """What a phone needs to put the client on its home screen."""
    icons = [
        {"src": static(name), "sizes": sizes, "type": "image/png", "purpose": purpose}
        for name, sizes, purpose in ICONS
    ]
    stated = {
        "id": reverse("field"),
        "name": settings.SITE_NAME,
        "short_name": settings.SITE_NAME,
        "start_url": reverse("field"),
        "scope": "/",
        "display": "standalone",
        "lang": get_language(),
        "background_color": "#faf8f3",
        "theme_color": "#1d2733",
        "icons": icons,
    }
    return HttpResponse(json.dumps(stated), content_type="application/manifest+json")


def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, with what it keeps and the hash of each file.

    Another file, other words or another language are another version.
    """
    kept = shell_files()
    page = _worker(kept) | {"version": version_of(request, kept)}
    return render(request, WORKER, page, content_type="text/javascript; charset=utf-8")


def shell_files() -> dict[str, str]:
    """The address of every file that the shell loads, with its hash as a browser checks it (Subresource Integrity)."""
    own = (path for path in (STATIC / "inspections/field").rglob("*") if path.is_file())
    names = sorted([*(path.relative_to(STATIC).as_posix() for path in own), *BESIDES])
    return {static(name): _integrity(_as_served(name)) for name in names}


def version_of(request: HttpRequest, kept: dict[str, str]) -> str:
    """A name for this release of the shell in this language."""
    page = render_to_string(SHELL, _page(), request)
    return hashlib.sha256((page + render_to_string(WORKER, _worker(kept))).encode()).hexdigest()[:16]


def _page() -> dict[str, Any]:
    return {
        "title": _("At the truck"),
        "screens": SCREENS,
        "pieces": piece_words(),
        "signing_key": signing.public_key(),
        "installation": signing.installation(),
    }


def _worker(kept: dict[str, str]) -> dict[str, Any]:
    return {"kept": kept, "shell": reverse("field"), "label": reverse("ask")}


def _as_served(name: str) -> bytes:
    """The content behind the address of a static file: after collectstatic, imports in it bear hashed names."""
    stored = static(name).removeprefix(settings.STATIC_URL)
    if stored != name:
        with staticfiles_storage.open(stored) as file:
            return file.read()
    found = finders.find(name)
    return Path(found).read_bytes() if isinstance(found, str) else b""


def _integrity(content: bytes) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(content).digest()).decode()}"
