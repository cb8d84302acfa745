"""Breakdowns on purpose while something is being stored."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import OperationalError, connection


class FailNth:
    """An execute wrapper that fails the n-th statement, BEGIN counted too (after SQLite's own I/O-error tests)."""

    def __init__(self, nth: int):
        self.nth, self.count = nth, 0

    def __call__(self, execute, sql, params, many, context):
        self.count += 1
        if self.count == self.nth:
            raise OperationalError("the disk is full")
        return execute(sql, params, many, context)

    @property
    def fired(self) -> bool:
        return self.count >= self.nth


@contextmanager
def failing_commit(when: str) -> Iterator[list[str]]:
    """The next COMMIT fails, `before` or `after` it took effect: COMMIT does not pass through execute wrappers.

    Yields a list that is no longer empty once it happened.
    """
    honest, fired = connection._commit, []

    def commit():
        if fired or connection.connection is None:
            return honest()
        fired.append(when)
        if when == "after":
            honest()
        raise OperationalError("the line broke")

    connection._commit = commit
    try:
        yield fired
    finally:
        connection._commit = honest
