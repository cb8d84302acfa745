"""What is looked at on the machine itself: the files, the mail server, and whether labels can be printed."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db import connection
from django.utils.translation import gettext as _

from gear.labels import sheets
from gear.queries.health import AMBER, RED, WELL, Finding
from gear.rules.stock import STOCKS

MAIL_PATIENCE_S = 10


def check_files() -> Iterator[Finding]:
    """What holds people's data is its owner's alone, and all of it is one owner's, or the service cannot write."""
    title, folder = _("Files"), Path(settings.DATA_DIR)
    owner = folder.stat().st_uid
    found = []
    if open_ := [str(path) for path in kept_files() if _is_open(path)]:
        sentence = _("Everybody on this machine can read %(files)s. Run: chmod -R o-rwx %(folder)s")
        told = {"files": ", ".join(open_), "folder": folder}
        found.append(Finding("FILES_OPEN", RED, title, sentence % told))
    if foreign := [str(path) for path in kept_files() if path.stat().st_uid != owner]:
        sentence = _(
            "%(files)s belong to another account than %(folder)s, so the service may be unable to write them. That "
            "comes of commands run as another user. Run: chown -R --reference=%(folder)s %(folder)s"
        )
        told = {"files": ", ".join(foreign), "folder": folder}
        found.append(Finding("FILES_OF_ANOTHER", RED, title, sentence % told))
    if os.geteuid() != owner:
        sentence = _(
            "This command runs as another account than the owner of %s. Run every command as the account of the "
            "service, or the files it makes will be out of its reach."
        )
        found.append(Finding("RUN_BY_ANOTHER", AMBER, title, sentence % folder))
    yield from found or [Finding("FILES", WELL, title, _("%s is its owner's alone.") % folder)]


def kept_files() -> list[Path]:
    """The database file with its journals, the secret key, and the folders of photos and backups."""
    folder = Path(settings.DATA_DIR)
    paths = [folder / name for name in ("secret_key", "media", "backups", "mail", "fallback")]
    if connection.vendor == "sqlite":
        name = str(connection.settings_dict["NAME"])
        paths += [Path(name + ending) for ending in ("", "-wal", "-shm", "-journal")]
    return [path for path in paths if path.exists()]


def _is_open(path: Path) -> bool:
    """Whether an account of no group of ours may read it: what lies in a closed folder is closed."""
    return bool(path.stat().st_mode & stat.S_IROTH and path.parent.stat().st_mode & stat.S_IXOTH)


def check_labels() -> Iterator[Finding]:
    """A long BASE_URL makes the square of a label finer than printers and phones can follow."""
    title = _("Labels")
    names = [name for name, stock in STOCKS.items() if sheets.trouble_with(stock, base_url=settings.BASE_URL)]
    told = {"names": ", ".join(names), "address": settings.BASE_URL, "count": len(STOCKS)}
    if len(names) == len(STOCKS):
        sentence = _(
            "%(address)s is too long for every label stock: no square would be read. Choose a shorter host."
        )
        yield Finding("LABELS_TOO_FINE", RED, title, sentence % told)
    elif names:
        sentence = _(
            "%(address)s is too long for the squares of some label stock: %(names)s. The others can be printed."
        )
        yield Finding("LABELS_SOME_TOO_FINE", AMBER, title, sentence % told)
    else:
        yield Finding(
            "LABELS",
            WELL,
            title,
            _("%(address)s fits the squares of all %(count)s kinds of label stock.") % told,
        )


def check_mail(*, send_to: str = "") -> Iterator[Finding]:
    """Whether the mail server takes us, without sending anything unless an address is named."""
    title = _("Mail server")
    if not settings.EMAIL_BACKEND.endswith("smtp.EmailBackend"):
        if send_to:
            sentence = _("No test mail was sent: EMAIL_URL is not set. Set it, then try again.")
            yield Finding("MAIL_NOT_SENT", RED, title, sentence)
        return  # that none is set is told among the checks of the set-up
    where = {"server": f"{settings.EMAIL_HOST}:{settings.EMAIL_PORT}", "address": send_to}
    server = get_connection(timeout=MAIL_PATIENCE_S)
    try:
        server.open()
        if send_to:
            EmailMessage(
                subject=_("Test mail of %s") % settings.SITE_NAME,
                body=_("This installation can send mail. It stands at %s.") % settings.BASE_URL,
                to=[send_to],
                connection=server,
            ).send()
    except OSError as error:  # smtplib's own exceptions are among them
        sentence = _(
            "The mail server %(server)s did not take us (%(why)s). Check EMAIL_URL: name, port, user and password; "
            "smtp+tls:// is usual with port 587, smtp+ssl:// with 465."
        )
        yield Finding("MAIL_REFUSED", RED, title, sentence % (where | {"why": _said(error)}))
        return
    finally:
        server.close()
    if send_to:
        sentence = _(
            "%(server)s took a mail to %(address)s. Look whether it arrived, and not among the junk."
        )
    else:
        sentence = _("%(server)s takes us. Send one with --send-test ADDRESS to see whether mail arrives.")
    yield Finding("MAIL_SERVER", WELL, title, sentence % where)


def _said(error: OSError) -> str:
    return str(error).strip().replace("\n", " ")[:200] or type(error).__name__
