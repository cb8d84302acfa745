"""The overdue report in words: what page, print and spreadsheets say of it, and its JSON form."""

from reports.wording.interface import as_json
from reports.wording.rows import Row, row
from reports.wording.told import Caps, Phone, Told, tell

__all__ = ["Caps", "Phone", "Row", "Told", "as_json", "row", "tell"]
