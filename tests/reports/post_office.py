"""A mail server on a real socket that takes, refuses, hangs up or says nothing, as it is told."""

from __future__ import annotations

import email
import email.policy
import socket
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email.message import EmailMessage
from typing import Any

# What it can be told to do. "take" is the usual; the others say at which step they go wrong.
TAKE, HANG, BUSY, UNKNOWN_USER, TOO_BIG, DROP, CLOSED = "take", "hang", "451", "550", "552", "drop", "421"
NOT_YOU = "553"


class PostOffice(socketserver.ThreadingTCPServer):
    """`taken` are (address, raw bytes) of every mail that it said yes to, in order; `offered` of every DATA."""

    allow_reuse_address = daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Counter)
        self.mood = TAKE
        self.moods: dict[str, str] = {}  # by address
        self.taken: list[tuple[str, bytes]] = []
        self.offered: list[tuple[str, bytes]] = []
        self.closing = threading.Event()

    @property
    def port(self) -> int:
        return int(self.server_address[1])

    @property
    def letters(self) -> list[tuple[str, EmailMessage]]:
        return [
            (address, email.message_from_bytes(raw, policy=email.policy.default))
            for address, raw in self.taken
        ]

    @property
    def weeks(self) -> list[str]:
        """The week that each mail is about, in the order in which they came."""
        return [letter["Subject"].split()[1].strip(":") for _address, letter in self.letters]


class _Counter(socketserver.StreamRequestHandler):
    server: PostOffice

    def handle(self) -> None:
        if self.server.mood == HANG:
            self.server.closing.wait(30)
            return
        if self.server.mood == CLOSED:
            self.say("421 closed for the night")
            return
        self.say("220 post office")
        address = ""
        while line := self.rfile.readline().decode().strip():
            verb = line[:4].upper()
            if verb == "RCPT":
                address = line.partition("<")[2].partition(">")[0]
            if not self.answer(verb, address):
                return

    def answer(self, verb: str, address: str) -> bool:
        """Whether the talk goes on."""
        mood = self.server.moods.get(address, self.server.mood)
        if verb == "EHLO":
            self.say("250 post office")
        elif verb == "MAIL" and mood == NOT_YOU:
            self.say("553 not your address")
        elif verb == "RCPT" and mood in (BUSY, UNKNOWN_USER):
            self.say(f"{mood} not now" if mood == BUSY else f"{mood} no such user")
        elif verb == "DATA":
            self.say("354 go on")
            raw = self.read()
            self.server.offered.append((address, raw))
            if mood == DROP:
                self.connection.shutdown(socket.SHUT_RDWR)
                return False
            if mood == TOO_BIG:
                self.say("552 too big")
                return True
            self.server.taken.append((address, raw))
            self.say("250 taken")
        elif verb == "QUIT":
            self.say("221 bye")
            return False
        else:
            self.say("250 ok")
        return True

    def read(self) -> bytes:
        lines = []
        while (line := self.rfile.readline()) not in (b".\r\n", b""):
            lines.append(line.removeprefix(b".") if line.startswith(b"..") else line)
        return b"".join(lines)

    def say(self, words: str) -> None:
        self.wfile.write(f"{words}\r\n".encode())


@contextmanager
def post_office(settings: Any) -> Iterator[PostOffice]:
    """Open, with the service set to send its mail there."""
    server = PostOffice()
    threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", server.port, 5
    settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
    settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
    try:
        yield server
    finally:
        server.closing.set()
        server.shutdown()
        server.server_close()
