"""Hand one mail to the mail server, at least once and under one Message-ID, however many processes try.

The claim is a row: an attempt bears the next number of its mail, and a number exists once. "Accepted" is kept only
after the mail server said so. Whoever is killed in between leaves an attempt without an outcome; once its lease is
over the mail is sent again, byte for byte the same, so that whoever gets it twice can see that it is one mail.
"""

from __future__ import annotations

import base64
import hashlib
import os
import smtplib
import socket
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from email.message import Message
from email.utils import format_datetime
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.ledger import append
from reports.models import MailAttempt, MailOutcome, Notice, WeeklyReport
from reports.queries.sent_reports import tried
from reports.rules.retrying import ACCEPTED, LATER, LEASE, REFUSED, turn

TRY_LATER = 421  # the server closes the channel for everybody (RFC 5321, 4.2.3)


@dataclass(frozen=True)
class Letter:
    """One mail to one address. Its Message-ID is the same whenever it is sent; `dated` is its Date header.

    It belongs to a report or to a notice. `files` are (name, bytes, type).
    """

    message_id: str
    address: str
    subject: str
    body: str
    dated: datetime
    files: Sequence[tuple[str, bytes, str]] = ()
    report: WeeklyReport | None = None
    notice: Notice | None = None


@dataclass(frozen=True)
class Posted:
    """What came of it now. `state` is "accepted", "before" (accepted earlier), "busy" or "wait" (not tried now),
    "later" or "refused", and then `why` says what the mail server said. `server_down`: nobody else would fare better
    now. `may_have_arrived`: it is a second copy.
    """

    state: str
    sentence: str
    again_at: datetime | None = None
    server_down: bool = False
    may_have_arrived: bool = False
    why: str = ""

    @property
    def taken(self) -> bool:
        return self.state in ("accepted", "before")


def message_id(*parts: str) -> str:
    """`<weekly-2026-W38-3f2a...@host>`: the first part stays readable, an address does not stand in it."""
    digest = hashlib.sha256("\n".join([settings.BASE_URL, *parts]).encode()).hexdigest()[:24]
    return f"<{parts[0]}-{digest}@{urlsplit(settings.BASE_URL).hostname}>"


def post(letter: Letter) -> Posted:
    """Try to hand a mail over, unless somebody else is at it, it was taken already, or its turn is later."""
    now = timezone.now()
    so_far = tried(letter.message_id)
    now_or_not = turn(so_far, now)
    if now_or_not.state == "accepted":
        return Posted("before", _("%s: taken by the mail server already.") % letter.address)
    if now_or_not.state == "busy":
        return Posted("busy", _("%s: another process is sending it.") % letter.address, now_or_not.again_at)
    if now_or_not.state == "wait":
        sentence = _("%s: not taken so far; it is tried again later.") % letter.address
        return Posted("wait", sentence, now_or_not.again_at)
    attempt = _claim(letter, number=len(so_far) + 1, now=now)
    if attempt is None:
        return Posted("busy", _("%s: another process is sending it.") % letter.address, now + LEASE)
    return _handed_over(letter, attempt, copies=now_or_not.may_have_arrived)


def send_test_mail(address: str) -> Posted:
    """A mail that says that mail works; nothing of it is kept."""
    now = timezone.now()
    letter = Letter(
        message_id("test", address, now.isoformat()),
        address,
        _("Test mail of %s") % settings.SITE_NAME,
        _("Mail from %(site)s reaches you. Sent from %(address)s.\n")
        % {"site": settings.SITE_NAME, "address": settings.BASE_URL},
        now,
    )
    try:
        _send(letter)
    except Exception as error:  # whatever it is, it is told to the person who pressed the button
        return _told(letter, error)
    return Posted("accepted", _("The mail server took the test mail to %s.") % address)


def _claim(letter: Letter, *, number: int, now: datetime) -> MailAttempt | None:
    """The attempt of that number, or None where another process has it."""
    attempt = MailAttempt(
        report=letter.report,
        notice=letter.notice,
        address=letter.address,
        message_id=letter.message_id,
        number=number,
        lease_until=now + LEASE,
        process=f"{socket.gethostname()[:60]}:{os.getpid()}",
    )
    try:
        with transaction.atomic():
            append(attempt)
    except IntegrityError:
        return None
    return attempt


def _handed_over(letter: Letter, attempt: MailAttempt, *, copies: int) -> Posted:
    try:
        _send(letter)
    except Exception as error:  # every failure is kept as the outcome of its attempt, and told
        posted = _told(letter, error)
        append(MailOutcome(attempt=attempt, outcome=posted.state, detail=posted.why[:500]))
        return posted
    append(MailOutcome(attempt=attempt, outcome=ACCEPTED))
    if not copies:
        return Posted("accepted", _("%s: taken by the mail server.") % letter.address)
    sentence = _(
        "%(address)s: taken by the mail server. An attempt before it has no outcome, so it may arrive twice, under one "
        "Message-ID: %(id)s."
    ) % {"address": letter.address, "id": letter.message_id}
    return Posted("accepted", sentence, may_have_arrived=True)


class _Mail(EmailMessage):
    """The same bytes whenever it is made: the line between its parts follows from its Message-ID."""

    def message(self, **choices: Any) -> Any:
        made: Message = super().message(**choices)
        if made.is_multipart():
            made.set_boundary(hashlib.sha256(made["Message-ID"].encode()).hexdigest()[:40])
        return made


def _send(letter: Letter) -> None:
    """Raises whatever keeps the mail server from taking it. Once it was taken, nothing raises any more."""
    mail = _Mail(
        letter.subject,
        letter.body,
        to=[letter.address],
        headers={
            "Message-ID": letter.message_id,
            "Date": format_datetime(letter.dated),
            "Auto-Submitted": "auto-generated",
        },
    )
    for name, content, kind in letter.files:
        mail.attach(name, content, kind)
    server = get_connection()
    server.open()
    try:
        server.send_messages([mail])
    finally:
        with suppress(Exception):  # what was taken stays taken, however the parting goes
            server.close()


def _told(letter: Letter, error: Exception) -> Posted:
    """A failure as an outcome, with a sentence to act on. Nothing secret is in it."""
    outcome, words, server_down = _judged(error)
    why = _without_secrets(words)
    return Posted(outcome, f"{letter.address}: {why}", server_down=server_down, why=why)


def _judged(error: Exception) -> tuple[str, str, bool]:
    """(outcome, sentence, whether the server as a whole is at fault)."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, words = next(iter(error.recipients.values()), (0, b""))
        return _by_code(code), _("the mail server refuses this address: %s") % _said(code, words), False
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return LATER, _("the mail server does not accept the user name and password of EMAIL_URL."), True
    if isinstance(error, TimeoutError) or "timed out" in str(error):
        sentence = _("the mail server did not answer in time. It may have taken the mail all the same.")
        return LATER, sentence, True
    if isinstance(error, smtplib.SMTPServerDisconnected):
        sentence = _("the mail server hung up before it said yes. It may have taken the mail all the same.")
        return LATER, sentence, True
    if isinstance(error, smtplib.SMTPConnectError | smtplib.SMTPHeloError):
        said = _said(error.smtp_code, error.smtp_error)
        return LATER, _("the mail server does not speak with us: %s") % said, True
    if isinstance(error, smtplib.SMTPSenderRefused):  # whoever is next would hear the same
        said = _said(error.smtp_code, error.smtp_error)
        return LATER, _("the mail server refuses what this service sends: %s") % said, True
    if isinstance(error, smtplib.SMTPResponseException):
        said = _said(error.smtp_code, error.smtp_error)
        down = error.smtp_code == TRY_LATER
        return _by_code(error.smtp_code), _("the mail server did not take it: %s") % said, down
    if isinstance(error, OSError | smtplib.SMTPException):
        why = getattr(error, "strerror", None) or str(error) or type(error).__name__
        return LATER, _("the mail server cannot be reached: %s") % why, True
    return REFUSED, _("the mail cannot be written: %s") % (str(error) or type(error).__name__), False


def _by_code(code: int) -> str:
    """5xx is for good, 4xx for now (RFC 5321, 4.2.1)."""
    return REFUSED if 500 <= code < 600 else LATER


def _said(code: int, words: bytes | str) -> str:
    text = words.decode("utf-8", "replace") if isinstance(words, bytes) else str(words)
    return " ".join(f"{code} {text}".split())[:300]


def _without_secrets(text: str) -> str:
    password = getattr(settings, "EMAIL_HOST_PASSWORD", "") or ""
    for secret in (password, base64.b64encode(password.encode()).decode()):
        if len(password) > 2:
            text = text.replace(secret, "***")
    return text
