"""A server of its own process on the test's database, which can be killed and started again; and a browser likewise."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.db import connection

from tests.conftest import PROJECT, ZONE


def database_url() -> str:
    """The database of this test run, for another process."""
    stated = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{stated['NAME']}"
    host = f"{stated['HOST'] or 'localhost'}:{stated['PORT'] or 5432}"
    return f"postgres://{stated['USER']}:{stated['PASSWORD']}@{host}/{stated['NAME']}"


class Server:
    """`start()`, `kill()` as a power cut would, `start()` again on the same port with the same secret key."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.folder, self.process = folder, None
        self.url = f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        bare = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
        more = {
            "DATA_DIR": str(self.folder),
            "TIME_ZONE": ZONE,
            "DEBUG": "on",
            "DATABASE_URL": database_url(),
        }
        command = [
            sys.executable,
            str(PROJECT / "manage.py"),
            "runserver",
            f"127.0.0.1:{self.port}",
            "--noreload",
        ]
        with (self.folder / "server.log").open("ab") as log:
            self.process = subprocess.Popen(
                command, env=bare | more, cwd=self.folder, stdout=log, stderr=log, start_new_session=True
            )
        for _attempt in range(300):
            try:
                urllib.request.urlopen(f"{self.url}/login/", timeout=5).close()  # noqa: S310 - our own
                return
            except OSError:
                time.sleep(0.1)
        raise AssertionError((self.folder / "server.log").read_text())

    def kill(self) -> None:
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None


def let_in(person) -> None:
    """A password that a server with the usual hashers knows; the tests' own is quicker and known here alone."""
    person.password = PBKDF2PasswordHasher().encode(f"{person.username} keeps a secret", "saltsaltsalt", 1000)
    person.save(update_fields=["password"])


def kill_browser(profile: Path) -> None:
    """Every process of the browser that was started on this profile, at once."""
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            stated = (folder / "cmdline").read_bytes()
        except OSError:
            continue
        if f"--user-data-dir={profile}".encode() in stated:
            try:
                os.kill(int(folder.name), signal.SIGKILL)
            except ProcessLookupError:
                continue
