"""The signed data that a phone answers from: everything in its scope, with the answers of today and tomorrow."""

from __future__ import annotations

from django.http import HttpRequest, JsonResponse


def bundle(request: HttpRequest) -> JsonResponse:
    raise NotImplementedError


def live_answer(request: HttpRequest, code: str) -> JsonResponse:
    raise NotImplementedError
