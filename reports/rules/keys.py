"""Where a list was left off: the moment and the key of its last row, as an address carries them."""

from __future__ import annotations

from datetime import UTC, datetime
from uuid import UUID


def key_text(at: datetime, pk: UUID) -> str:
    """`2026-09-14T09:40:00.000000+00:00_0f...`: the same for every zone."""
    return f"{at.astimezone(UTC).isoformat(timespec='microseconds')}_{pk}"


def key_in(text: str) -> tuple[datetime, UUID] | None:
    """The moment and the key again; None for what no `key_text` made."""
    moment, _, pk = text.partition("_")
    try:
        at, key = datetime.fromisoformat(moment), UUID(pk)
    except ValueError:
        return None
    return (at, key) if at.tzinfo is not None else None
