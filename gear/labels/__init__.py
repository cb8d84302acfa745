"""Labels: what one says, the square that a phone reads, and where both stand on paper."""

from gear.labels.sheets import (
    LINES,
    NAMES,
    SAMPLE_CODE,
    Label,
    Left,
    Sheet,
    arrange,
    labels_for,
    trouble_with,
)
from gear.labels.text import (
    QUIET_ZONE,
    LabelText,
    Square,
    address,
    may_have_label,
    square,
    text_of,
)

__all__ = [
    "LINES",
    "NAMES",
    "QUIET_ZONE",
    "SAMPLE_CODE",
    "Label",
    "LabelText",
    "Left",
    "Sheet",
    "Square",
    "address",
    "arrange",
    "labels_for",
    "may_have_label",
    "square",
    "text_of",
    "trouble_with",
]
