"""The page that is the phone client, its manifest, and the worker that keeps both for the hour without a network."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.csrf import ensure_csrf_cookie

HERE = Path(__file__).resolve().parent.parent
STATIC = HERE / "static" / "inspections"
SCREENS = sorted(
    f"inspections/field/screens/{path.name}"
    for path in (HERE / "templates/inspections/field/screens").glob("*.html")
)


@ensure_csrf_cookie
def shell(request: HttpRequest) -> HttpResponse:
    """The one page of the client. It holds words and pictures alone: what it tells comes signed, from the bundle."""
    return render(request, "inspections/field/shell.html", {"title": _("At the truck"), "screens": SCREENS})


def manifest(request: HttpRequest) -> HttpResponse:
    """What a phone needs to put the client on its home screen."""
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
        "icons": [{"src": static("gear/icon.svg"), "sizes": "any", "type": "image/svg+xml"}],
    }
    return HttpResponse(json.dumps(stated), content_type="application/manifest+json")


def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, with the list of what it keeps. Another list, or another file in it, is another version."""
    kept = shell_files()
    page = {"kept": kept, "version": version_of(kept), "shell": reverse("field")}
    return render(request, "inspections/field/worker.js", page, content_type="text/javascript; charset=utf-8")


def shell_files() -> list[str]:
    """The addresses of every file that the shell loads."""
    scripts = sorted(
        path.relative_to(STATIC.parent) for path in (STATIC / "field").rglob("*") if path.is_file()
    )
    decoder = [Path("inspections/vendor/qr") / name for name in ("decode.js", "index.js")]
    return [static(str(path)) for path in (*scripts, *decoder, Path("gear/site.css"), Path("gear/icon.svg"))]


def version_of(kept: list[str]) -> str:
    """A name for this release of the shell: another content of any file gives another."""
    found = hashlib.sha256("\n".join(kept).encode())
    for path in sorted((STATIC / "field").rglob("*")):
        if path.is_file():
            found.update(path.read_bytes())
    return found.hexdigest()[:16]
