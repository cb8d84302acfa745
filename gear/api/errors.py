"""One shape for every refusal: {"error": {"code", "message", "fields"}}."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.http import Http404
from django.utils.translation import gettext as _
from rest_framework import exceptions, serializers
from rest_framework.response import Response
from rest_framework.views import exception_handler, set_rollback

from gear.actions.acting import IdReused, LedgerError, Refused
from gear.permissions import NotAllowed
from gear.queries import BadQuestion
from gear.rules.entries import BadFacts


class ErrorDetail(serializers.Serializer):
    code = serializers.CharField()
    message = serializers.CharField()
    fields = serializers.DictField(child=serializers.ListField(child=serializers.CharField()))


class Error(serializers.Serializer):
    """What every refusal looks like."""

    error = ErrorDetail()


def body(code: str, message: str, fields: dict[str, list[str]] | None = None) -> dict[str, Any]:
    """The one shape of an error."""
    return {"error": {"code": code, "message": message, "fields": fields or {}}}


def handle(error: Exception, context: Any) -> Response | None:
    """The answer to an error: refusals of our own as 403, 409 or 422; DRF's in our shape; others are not caught."""
    ours = _ours(error)
    if ours is not None:
        set_rollback()
        return ours
    response = exception_handler(error, context)
    if response is None:
        return None
    if isinstance(error, exceptions.ValidationError):
        fields = _flat(error.detail)
        response.data = body("invalid", _("Some fields cannot be read. Nothing was stored."), fields)
    else:
        response.data = body(_code(error), str(getattr(error, "detail", error) or _("Nothing is here.")))
    return response


def _code(error: Exception) -> str:
    if isinstance(error, Http404):
        return "not_found"
    if isinstance(error, PermissionDenied):
        return "permission_denied"
    return str(getattr(error, "default_code", "error"))


def _ours(error: Exception) -> Response | None:
    if isinstance(error, NotAllowed):
        return Response(body("not_allowed", str(error)), 403)
    if isinstance(error, Refused):
        field = getattr(error, "field", "")
        return Response(body(error.code, str(error), {field: [str(error)]} if field else None), 422)
    if isinstance(error, IdReused):
        words = _("This id was used before with other content. Nothing was stored; send it with a new id.")
        return Response(body("id_reused", words), 422)
    if isinstance(error, LedgerError | BadFacts):
        return Response(body(type(error).__name__, str(error)), 422)
    if isinstance(error, BadQuestion):
        return Response(body("invalid", str(error), {error.field: [str(error)]}), 400)
    if isinstance(error, OperationalError):
        words = _("The record is busy or cannot be reached. Nothing was stored; send the same again.")
        return Response(body("busy", words), 503, headers={"Retry-After": "5"})
    return None


def _flat(detail: Any, name: str = "") -> dict[str, list[str]]:
    if isinstance(detail, dict):
        found: dict[str, list[str]] = {}
        for key, value in detail.items():
            found |= _flat(value, f"{name}.{key}" if name else str(key))
        return found
    if isinstance(detail, list) and any(isinstance(one, dict | list) for one in detail):
        found = {}
        for index, one in enumerate(detail):
            found |= _flat(one, f"{name}[{index}]")
        return found
    return {name: [str(one) for one in (detail if isinstance(detail, list) else [detail])]}
