"""A program: HTML on standard input, tagged PDF on standard output. It fetches nothing, from nowhere.

With two arguments, a file name and a number of bytes, what follows the HTML after so many bytes is attached under that
name.

Run by gear.pdf.setting; it knows nothing of this service and imports nothing of it.
"""

import io
import resource
import sys
from typing import Any, NoReturn

COMPUTING_S = 60  # seconds of processor time; 500 lines take about 10
MEMORY_B = 512 * 1024 * 1024


def bound() -> None:
    """Stop this process for good when it computes for too long or takes too much memory."""
    for what, limit in ((resource.RLIMIT_CPU, COMPUTING_S), (resource.RLIMIT_AS, MEMORY_B)):
        _soft, hard = resource.getrlimit(what)
        allowed = limit if hard == resource.RLIM_INFINITY else min(limit, hard)
        resource.setrlimit(what, (allowed, hard))


def pdf(html: str, attached: dict[str, bytes]) -> bytes:
    """The document as a PDF made with the PDF/UA-1 option: tagged, titled, with its language."""
    import weasyprint  # slow to load, and only ever needed here
    from weasyprint.urls import URLFetcher

    class FetchesNothing(URLFetcher):
        """Every address is refused: a file of this machine, another machine, and data in the address itself."""

        def fetch(self, url: str, headers: Any = None) -> NoReturn:
            raise ValueError(f"Nothing is fetched: {url[:80]}")

    document = weasyprint.HTML(string=html, url_fetcher=FetchesNothing())
    files = [
        weasyprint.Attachment(file_obj=io.BytesIO(content), name=name, description=name, relationship="Data")
        for name, content in attached.items()
    ]
    return document.write_pdf(pdf_variant="pdf/ua-1", attachments=files or None)


def main(arguments: list[str]) -> None:
    bound()
    given = sys.stdin.buffer.read()
    length = int(arguments[1]) if arguments else len(given)
    attached = {arguments[0]: given[length:]} if arguments else {}
    sys.stdout.buffer.write(pdf(given[:length].decode("utf-8"), attached))


if __name__ == "__main__":
    main(sys.argv[1:])
