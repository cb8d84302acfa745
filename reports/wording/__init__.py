"""The overdue report in words: what page, print and spreadsheets say of it, and its JSON form."""

from reports.wording.interface import as_json
from reports.wording.rows import Row, row
from reports.wording.told import Caps, Phone, Told, tell
from reports.wording.weekly import Weekly, weekly_json

__all__ = ["Caps", "Phone", "Row", "Told", "Weekly", "as_json", "row", "tell", "weekly_json"]
