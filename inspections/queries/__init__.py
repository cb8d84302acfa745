"""Reads of inspections that others may use: tests, the register of instruments, cartons."""

from inspections.queries.electrical import (
    Register,
    calibration_on,
    detail_problems,
    register,
    stated_test,
    tests_in_force,
    tests_of,
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
    "Line",
    "Register",
    "awaited",
    "calibration_on",
    "carton",
    "days_late",
    "detail_problems",
    "pieces_in",
    "register",
    "shipments",
    "stated_test",
    "tests_in_force",
    "tests_of",
]
