"""The commands as a stranger uses them: a file in, lines out."""

import csv
import io
import json

from django.core.management import call_command
from openpyxl import Workbook


def as_csv(path, rows, columns):
    """Write rows of text as CSV; the path as text."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return str(path)


def as_xlsx(path, rows, columns):
    """Write rows of text as the one sheet of a workbook, numbers as numbers; the path as text."""
    book = Workbook()
    book.active.append(list(columns))
    for row in rows:
        book.active.append([_cell(name, row.get(name, "")) for name in columns])
    book.save(path)
    return str(path)


def _cell(name, text):
    numeric = name in ("applied_v", "seconds", "leakage_ma", "resistance_mohm", "cable_temp_c", "length_mm")
    return float(text) if numeric and text else text or None


def told(command, *arguments, **options):
    """What the command prints."""
    out = io.StringIO()
    call_command(command, *arguments, stdout=out, **options)
    return out.getvalue()


def answers(*item_nos, as_of, **options):
    """{item_no: answer} of the items named, or of the whole book, at the end of the day `as_of`."""
    chosen = {} if item_nos else {"all": True}
    lines = told("answer", *item_nos, as_of=str(as_of), format="json", **chosen, **options).splitlines()
    return {line["item_no"]: line for line in map(json.loads, lines)}


def report(as_of):
    return json.loads(told("overdue_report", as_of=str(as_of), format="json"))


def codes_of(answer):
    return {reason["code"] for reason in answer["reasons"]}
