"""What is kept of inspections: the register of instruments, bench sessions, and every test as it was read."""

from inspections.models.bench import BenchRow, BenchSession
from inspections.models.electrical import ElectricalTest, Instrument
from inspections.models.words import (
    LOOK_NAMES,
    MATERIAL_NAMES,
    METHOD_NAMES,
    OUTCOME_NAMES,
    PURPOSE_NAMES,
    SESSION_STATES,
    SUPPLY_NAMES,
)

__all__ = [
    "LOOK_NAMES",
    "MATERIAL_NAMES",
    "METHOD_NAMES",
    "OUTCOME_NAMES",
    "PURPOSE_NAMES",
    "SESSION_STATES",
    "SUPPLY_NAMES",
    "BenchRow",
    "BenchSession",
    "ElectricalTest",
    "Instrument",
]
