"""Breakdowns on purpose while something is being stored."""

from django.db import OperationalError


class FailNth:
    """An execute wrapper that fails the n-th statement, BEGIN counted too (after SQLite's own I/O-error tests)."""

    def __init__(self, nth: int):
        self.nth, self.count = nth, 0

    def __call__(self, execute, sql, params, many, context):
        self.count += 1
        if self.count == self.nth:
            raise OperationalError("the disk is full")
        return execute(sql, params, many, context)
