"""The register of exceptions."""

from __future__ import annotations

from gear.models import Holder
from gear.queries import Question
from gear.queries.whereabouts import places
from gear.rules.whereabouts import Place
from reports.models import ExceptionNote
from reports.rules.exceptions import Noted, standing
from reports.rules.overdue import Scope


def exceptions() -> list[Noted]:
    """Every exception on record, the newest first. Two queries."""
    rows = ExceptionNote.objects.select_related(
        "item__state__holder", "crew__depot", "truck", "approved_by", "by", "end__by"
    )
    where = places()
    return [_noted(row, where) for row in rows.order_by("-at", "pk")]


def in_force(asked: Question, scope: Scope) -> tuple[Noted, ...]:
    """The exceptions in force on the day of a question, by what was noted by then, that concern a reader."""
    at = asked.asked_at if asked.current else asked.as_of_at
    return standing(exceptions(), on=asked.as_of, at=asked.known_at or at, scope=scope)


def _noted(row: ExceptionNote, where: dict[tuple[str, str], Place]) -> Noted:
    end = getattr(row, "end", None)
    return Noted(
        key=str(row.pk),
        about=row.about,
        subject=_subject(row),
        place=_place(row, where),
        name=row.name,
        reason=row.reason,
        begins_on=row.begins_on,
        ends_on=row.ends_on,
        approved_by=row.approved_by.name,
        by=row.by.name,
        at=row.at,
        closed_at=end.at if end else None,
        closed_by=end.by.name if end else "",
        why=end.reason if end else "",
    )


def _subject(row: ExceptionNote) -> str:
    if row.item:
        return row.item.item_no
    named = row.crew or row.truck
    return named.name if named else ""


def _place(row: ExceptionNote, where: dict[tuple[str, str], Place]) -> Place:
    if row.crew:
        return Place(row.crew.name, row.crew.depot.name if row.crew.depot else None)
    state = getattr(
        row.item, "state", None
    )  # a piece whose state is missing hides no exception and no report
    holder: Holder | None = row.truck or (state.holder if state else None)
    return where.get((holder.kind, holder.name), Place()) if holder else Place()
