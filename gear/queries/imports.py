"""Which files were brought in."""

from __future__ import annotations

from gear.models import ImportedFile

SHOWN = 20


def files_brought_in() -> list[ImportedFile]:
    """The newest files first, without their content."""
    return list(ImportedFile.objects.defer("content").select_related("by").order_by("-at", "pk")[:SHOWN])
