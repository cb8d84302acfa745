"""Reads of inspections that others may use: tests, the register of instruments, cartons."""

from inspections.queries.bench import (
    Board,
    RowNow,
    board,
    ground_sets,
    last_accepted_ma,
    mates_missing,
    row_before,
    sessions,
)
from inspections.queries.cartons import (
    Awaited,
    Carton,
    Line,
    awaited,
    carton,
    days_late,
    pieces_in,
    shipments,
)
from inspections.queries.electrical import (
    detail_problems,
    stated_test,
    tests_in_force,
    tests_of,
)
from inspections.queries.instruments import (
    Register,
    calibration_on,
    calibration_problems,
    register,
)
from inspections.queries.labfiles import (
    Known,
    known_pieces,
    lab_files,
    mappings,
    open_shipments,
    pieces_of,
    versions,
)
from inspections.queries.shipment_check import shipment_problems
from inspections.queries.visits import Brought, brought, rows_of, visit, visits

__all__ = [
    "Awaited",
    "Board",
    "Brought",
    "Carton",
    "Known",
    "Line",
    "Register",
    "RowNow",
    "awaited",
    "board",
    "brought",
    "calibration_on",
    "calibration_problems",
    "carton",
    "days_late",
    "detail_problems",
    "ground_sets",
    "known_pieces",
    "lab_files",
    "last_accepted_ma",
    "mappings",
    "mates_missing",
    "open_shipments",
    "pieces_in",
    "pieces_of",
    "register",
    "row_before",
    "rows_of",
    "sessions",
    "shipment_problems",
    "shipments",
    "stated_test",
    "tests_in_force",
    "tests_of",
    "versions",
    "visit",
    "visits",
]
