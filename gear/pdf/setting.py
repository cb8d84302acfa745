"""Hands HTML to the typesetter and takes the PDF back.

It runs as a process of its own: what it needs of memory is given back, what it may need is bounded, and none of
this service's secrets are in its environment.
"""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from django.utils.translation import gettext as _

TYPESETTER = Path(__file__).with_name("typesetter.py")
WAIT_S = 120  # seconds on the wall; the typesetter bounds its own seconds of computing
_PASSED_ON = (
    "PATH", "HOME", "TMPDIR", "LANG", "LC_ALL", "PYTHONPATH", "LD_LIBRARY_PATH", "DYLD_FALLBACK_LIBRARY_PATH",
    "FONTCONFIG_FILE", "FONTCONFIG_PATH", "XDG_CACHE_HOME", "XDG_DATA_HOME", "XDG_DATA_DIRS", "SYSTEMROOT",
)  # fmt: skip


class NotSet(Exception):
    """The PDF could not be made. The message says what to take instead; `detail` is for the log."""

    def __init__(self, detail: str) -> None:
        super().__init__(
            _("The PDF could not be made. Take the page or the CSV file, and tell the administrator.")
        )
        self.detail = detail


@dataclass(frozen=True)
class Attachment:
    """A file that travels inside the PDF. The name is a plain file name."""

    name: str
    content: bytes


def pdf_from(html: str, *, attachment: Attachment | None = None) -> bytes:
    """A tagged PDF of a self-contained document, with a file attached where one is given. Raises NotSet."""
    document = html.encode("utf-8")
    arguments = [attachment.name, str(len(document))] if attachment else []
    try:
        done = subprocess.run(  # noqa: S603 - our own interpreter and our own file
            [sys.executable, "-P", str(TYPESETTER), *arguments],
            input=document + (attachment.content if attachment else b""),
            capture_output=True,
            timeout=WAIT_S,
            env={name: os.environ[name] for name in _PASSED_ON if name in os.environ},
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise NotSet(str(error)) from error
    if done.returncode != 0 or not done.stdout.startswith(b"%PDF-"):
        raise NotSet(f"status {done.returncode}: {done.stderr.decode('utf-8', 'replace')[-2000:]}")
    return done.stdout
