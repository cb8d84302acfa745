"""What the newest walk of each truck did not see, as of a question: now, or at a moment before."""

from __future__ import annotations

from gear.queries import Question, seen_many
from inspections.models import LoadCheck
from inspections.queries.loads import Missing, missing_from_last_walk, newest_of, unseen


def missed(asked: Question) -> list[Missing]:
    """Pieces that the newest walk of each truck looked for in vain and that were on record there still.

    In a constant number of queries. A piece that was moved or given to somebody else by then is not missing.
    """
    if asked.current:
        return missing_from_last_walk()
    until = LoadCheck.objects.filter(finished_at__lte=asked.as_of_at)
    if asked.known_at:
        until = until.filter(at__lte=asked.known_at)
    found = unseen(newest_of(until).values())
    there = {
        one.answer.item_no: (one.facts.holder or {}).get("name")
        for one in seen_many(sorted({number for number, _check in found}), asked)
        if one.facts is not None
    }
    return sorted(
        (
            Missing(number, check.truck, check)
            for number, check in found
            if there.get(number) in {check.truck.name, *check.crew}
        ),
        key=lambda one: (one.truck.name, one.item_no),
    )


__all__ = ["missed"]
