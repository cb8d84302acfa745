"""The tool room's page: what is done there, in the order in which gear passes through it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _


def tool_room(request: HttpRequest) -> HttpResponse:
    """Every page of the tool room that this person may open; the list itself stands beside the navigation."""
    return render(request, "gear/tool_room.html", {"title": _("Tool room")})
