"""What phones send: each record once, in its order, with its own outcome."""

from __future__ import annotations

from django.http import HttpRequest, JsonResponse


def sync(request: HttpRequest) -> JsonResponse:
    raise NotImplementedError
