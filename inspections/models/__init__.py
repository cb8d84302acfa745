"""What is kept of inspections: the register of instruments, and every electrical test as it was read."""

from inspections.models.electrical import (
    LOOK_NAMES,
    OUTCOME_NAMES,
    PURPOSE_NAMES,
    SUPPLY_NAMES,
    ElectricalTest,
    Instrument,
)

__all__ = [
    "LOOK_NAMES",
    "OUTCOME_NAMES",
    "PURPOSE_NAMES",
    "SUPPLY_NAMES",
    "ElectricalTest",
    "Instrument",
]
