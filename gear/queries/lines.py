"""Every item's entries as the rules read them, one item after another, for figures over long times."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from itertools import groupby

from django.db.models import F

from gear.ledger import line_of
from gear.ledger.rulebook import change_days, lines_and_rules
from gear.models import Entry
from gear.rules.entries import Line
from gear.rules.readiness import Rules


def lines_by_item() -> Iterator[tuple[str, list[Line]]]:
    """(item number, its entries in the order of recording) for every item; one query, read in pieces of 2000 rows.

    Chains are not checked here: what a figure counts is never an answer about a piece.
    """
    rows = Entry.objects.filter(item__isnull=False).annotate(item_no=F("item__item_no"))
    streamed = rows.order_by("item_id", "position").iterator(chunk_size=2000)
    for item_no, entries in groupby(streamed, key=lambda entry: entry.item_no):
        yield item_no, [line_of(entry) for entry in entries]


def rules_over_time() -> tuple[list[date], Callable[[date], Rules]]:
    """(the days from which other rules count, the rules of any day), in a constant number of queries."""
    lines, rules_on = lines_and_rules()
    return change_days(lines), rules_on
