"""A program: HTML on standard input, tagged PDF on standard output. It fetches nothing, from nowhere.

Run by gear.pdf.setting; it knows nothing of this service and imports nothing of it.
"""

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


def pdf(html: str) -> bytes:
    """The document as a PDF made with the PDF/UA-1 option: tagged, titled, with its language."""
    import weasyprint  # slow to load, and only ever needed here
    from weasyprint.urls import URLFetcher

    class FetchesNothing(URLFetcher):
        """Every address is refused: a file of this machine, another machine, and data in the address itself."""

        def fetch(self, url: str, headers: Any = None) -> NoReturn:
            raise ValueError(f"Nothing is fetched: {url[:80]}")

    document = weasyprint.HTML(string=html, url_fetcher=FetchesNothing())
    return document.write_pdf(pdf_variant="pdf/ua-1")


if __name__ == "__main__":
    bound()
    sys.stdout.buffer.write(pdf(sys.stdin.buffer.read().decode("utf-8")))
