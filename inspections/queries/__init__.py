"""Reads of inspections that others may use: tests, the register of instruments, the check of detail rows."""

from inspections.queries.electrical import (
    Register,
    calibration_on,
    detail_problems,
    register,
    stated_test,
    tests_in_force,
    tests_of,
)

__all__ = [
    "Register",
    "calibration_on",
    "detail_problems",
    "register",
    "stated_test",
    "tests_in_force",
    "tests_of",
]
