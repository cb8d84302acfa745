"""Two addresses for programs that watch the service. Nobody signs in there, and they say codes and nothing else."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone

from gear.queries import health

WITHIN_S = 5  # of one look: whoever asks a thousand times a second costs one look in five seconds


def healthz(request: HttpRequest) -> HttpResponse:
    """The process answers. Asks nothing of the database, so a watcher does not restart it for a fault elsewhere."""
    return JsonResponse({"alive": True})


def readyz(request: HttpRequest) -> HttpResponse:
    """503 where the service cannot keep what it is told or cannot answer `good`; `codes` name why.

    `well` is false where anything at all needs somebody today; what it is stands on the page Health, for those who
    may read it.
    """
    found = health.recent(timezone.now(), within=WITHIN_S)
    codes = sorted({one.code for one in found if one.bars and one.level == health.RED})
    well = all(one.level != health.RED for one in found)
    answer = JsonResponse({"ready": not codes, "codes": codes, "well": well}, status=503 if codes else 200)
    if codes:
        answer.headers["Retry-After"] = "10"
    return answer
