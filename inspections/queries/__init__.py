"""Reads of inspections that others may use: tests, the register of instruments, cartons."""

from inspections.queries.electrical import detail_problems, stated_test, tests_in_force, tests_of
from inspections.queries.instruments import Register, calibration_on, calibration_problems, register
from inspections.queries.labfiles import (
    Known,
    known_pieces,
    lab_files,
    mappings,
    open_shipments,
    pieces_of,
    versions,
)
from inspections.queries.shipments import (
    Awaited,
    Carton,
    Line,
    awaited,
    carton,
    days_late,
    pieces_in,
    shipments,
)

__all__ = [
    "Awaited",
    "Carton",
    "Known",
    "Line",
    "Register",
    "awaited",
    "calibration_on",
    "carton",
    "days_late",
    "calibration_problems",
    "detail_problems",
    "known_pieces",
    "lab_files",
    "mappings",
    "open_shipments",
    "pieces_in",
    "pieces_of",
    "register",
    "shipments",
    "stated_test",
    "tests_in_force",
    "tests_of",
    "versions",
]
