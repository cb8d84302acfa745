"""A server of its own process on the database of the bench, for a real browser to ask."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings

PATIENCE = 60  # seconds that a server may take to start


class NotStarted(RuntimeError):
    """The server did not answer in time. The message is what it said last."""


@contextmanager
def serving() -> Iterator[str]:
    """The address of a server that is stopped afterwards. Raises NotStarted."""
    with tempfile.TemporaryFile("w+") as said, socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"127.0.0.1:{free.getsockname()[1]}"
        free.close()
        process = subprocess.Popen(  # noqa: S603  our own interpreter and our own manage.py
            [sys.executable, str(settings.PROJECT / "manage.py"), "runserver", address, "--noreload"],
            env={**os.environ, "DEBUG": "on"},
            stdout=said,
            stderr=said,
            start_new_session=True,
        )
        try:
            if not _answers(f"http://{address}/login/"):
                said.seek(0)
                raise NotStarted(said.read()[-2000:])
            yield f"http://{address}"
        finally:
            os.killpg(process.pid, signal.SIGTERM)
            process.wait()


def _answers(page: str) -> bool:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        try:
            urllib.request.urlopen(page, timeout=5).close()  # noqa: S310  the address of our own server
            return True
        except OSError:
            time.sleep(0.2)
    return False
