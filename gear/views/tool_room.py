"""Pages that lead on to others: what is done at the tool room, and what is kept and proven about it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _


def tool_room(request: HttpRequest) -> HttpResponse:
    """Every page of the tool room that this person may open; the list itself stands beside the navigation."""
    return render(request, "gear/tool_room.html", {"title": _("Tool room")})


def records(request: HttpRequest) -> HttpResponse:
    """Every page about what was, what was known and what is kept that this person may open."""
    return render(request, "gear/records.html", {"title": _("Records")})
