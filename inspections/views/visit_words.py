"""Rows and pieces of a visit in words, the same on the page and on the slip."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from gear.rules.tables import Problem
from inspections.actions.checking_in import sentence_of
from inspections.forms.visits import LABELS
from inspections.models import LOOK_NAMES, Visit, VisitRow
from inspections.pdf.visit_slip import piece_line
from inspections.queries import Brought
from inspections.rules import visiting

SHOWN = ("size", "number", "number_right", "leakage_ma", "leakage_ma_right")


def row_words(row: VisitRow, visit: Visit, problems: Sequence[Problem]) -> dict[str, Any]:
    """A row that is not in the book yet, with what is wrong with it."""
    cells = row.cells
    extra = [f"{LABELS[name]}: {cells[name]}" for name in visiting.COLUMNS[6:] if cells.get(name)]
    return {
        "key": row.pk,
        "place": row.place,
        "person": cells.get("person") or _("the crew"),
        "cells": [(LABELS[name], cells.get(name, "")) for name in SHOWN],
        "extra": "; ".join(map(str, extra)),
        "look": LOOK_NAMES.get(row.look, ""),
        "looked_by": row.looked_by.name if row.looked_by else "",
        "problems": list(dict.fromkeys(sentence_of(problem) for problem in problems)),
    }


def piece_words(one: Brought, visit: Visit) -> dict[str, Any]:
    """A piece in the book: its verdict and, where it is not good, what the owner's paper lacks."""
    return {**piece_line(one, visit), "open": one.open}
