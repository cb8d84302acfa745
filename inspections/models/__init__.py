"""What is kept of inspections: instruments, bench sessions, every test as it was read, cartons to a lab."""

from inspections.models.bench import BenchRow, BenchSession
from inspections.models.devices import DEVICE_NAMES, Device
from inspections.models.electrical import ElectricalTest
from inspections.models.instruments import INSTRUMENT_KIND_NAMES, Calibration, Instrument
from inspections.models.jobs import JobCheck
from inspections.models.labfiles import LabFile, LabMapping
from inspections.models.loads import OUTCOME_NAMES as LOAD_OUTCOME_NAMES
from inspections.models.loads import LoadCheck, LoadList, TruckClass, TruckFitting
from inspections.models.shipping import (
    SETTLED_NAMES,
    STATE_NAMES,
    Shipment,
    ShipmentLine,
    ShipmentOutcome,
)
from inspections.models.trucks import TruckRecord
from inspections.models.visits import Visit, VisitPiece, VisitRow
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
    "DEVICE_NAMES",
    "INSTRUMENT_KIND_NAMES",
    "LOAD_OUTCOME_NAMES",
    "LOOK_NAMES",
    "MATERIAL_NAMES",
    "METHOD_NAMES",
    "OUTCOME_NAMES",
    "PURPOSE_NAMES",
    "SESSION_STATES",
    "SETTLED_NAMES",
    "STATE_NAMES",
    "SUPPLY_NAMES",
    "BenchRow",
    "BenchSession",
    "Calibration",
    "Device",
    "ElectricalTest",
    "Instrument",
    "JobCheck",
    "LabFile",
    "LabMapping",
    "LoadCheck",
    "LoadList",
    "Shipment",
    "ShipmentLine",
    "ShipmentOutcome",
    "TruckClass",
    "TruckFitting",
    "Visit",
    "VisitPiece",
    "VisitRow",
    "TruckRecord",
]
