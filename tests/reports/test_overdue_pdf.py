"""The overdue report on paper, read back with pypdf, which shares no code with what made it."""

import io
import socketserver
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import UTC, datetime

import pypdf
import pytest

from gear.models import Seal
from gear.pdf import setting
from gear.queries import question_in
from reports import pdf, queries
from reports.pdf.overdue import LEAST, LINES, PHONE_LINES, caps_for
from reports.rules.overdue import Scope
from reports.wording import Phone, Weekly
from tests import builders

CANARY = "canary-7f3a-must-never-be-read"


def report():
    return queries.overdue_report(question_in(), scope=Scope())


def pages_of(content):
    return [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(content)).pages]


def printed(told=None, **choices):
    calls = {"Crew 7": Phone(("Bertrand",), "555-0107")}
    return pdf.weekly_pdf(Weekly(told or report(), calls, None, None), **choices)


# What stands on it


@pytest.mark.django_db
def test_every_page_says_what_it_is_as_of_when_by_which_rules_and_seal_and_its_number(fleet):
    Seal(
        number=3, sealed_at=datetime(2026, 9, 14, 5, tzinfo=UTC), row_count=41, merkle_root="ab12" * 16
    ).save()
    pages = pages_of(printed())
    assert len(pages) >= 2
    for number, words in enumerate(pages, start=1):
        for wanted in (
            "Overdue report",
            "As of 14 SEP 2026, end of day (America/New_York)",
            "Made 14 SEP 2026, 05:40",
            "Rule pack: us_federal 1",
            "Last seal: 3 over 41 rows, root ab12ab12ab12ab12",
            "A record, not a permit",
            "Whose gear: The whole book.",
            f"Page {number} of {len(pages)}",
        ):
            assert wanted in words, (number, wanted)
        assert "DEMO" not in words


@pytest.mark.django_db
def test_demo_stands_on_every_page_of_the_demo(fleet, settings):
    settings.DEMO = True
    assert all("DEMO" in words for words in pages_of(printed()))


@pytest.mark.django_db
def test_no_seal_yet_is_said_and_is_no_error(fleet):
    assert "Last seal: no seal yet" in pages_of(printed())[0]


@pytest.mark.django_db
def test_page_one_is_what_needs_a_phone_call_and_nothing_else(fleet):
    first = pages_of(printed())[0]
    assert "3 items are overdue in people's hands. The oldest: 45 days over." in first
    assert "Call Bertrand: 555-0107" in first
    assert all(
        number in first for number in ("B-held", "B-lost", fleet.left.item_no, "B-over_far", "B-contracted")
    )
    assert "B-due_in_0" not in first
    assert "B-over_on_shelf" not in first


@pytest.mark.django_db
def test_it_is_tagged_titled_and_has_its_language(fleet):
    root = pypdf.PdfReader(io.BytesIO(printed())).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    kinds = set(_kinds(root["/StructTreeRoot"]))
    assert {"/H1", "/H2", "/H3", "/Table", "/TH", "/TD", "/P"} <= kinds


def _kinds(element):
    element = element.get_object()
    if isinstance(element, list):
        for one in element:
            yield from _kinds(one)
    elif isinstance(element, dict):
        if "/S" in element:
            yield element["/S"]
        if "/K" in element:
            yield from _kinds(element["/K"])


@pytest.mark.django_db
@pytest.mark.parametrize(("paper", "size"), [("letter", (612, 792)), ("a4", (595, 842))])
def test_the_paper_is_letter_unless_a4_is_asked_for(cast, monday, paper, size):
    box = pypdf.PdfReader(io.BytesIO(printed(paper=paper))).pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


@pytest.mark.django_db
def test_another_paper_is_refused(cast, client):
    client.force_login(cast.ines)
    assert client.get("/reports/overdue.pdf", {"paper": "napkin"}).status_code == 400


# What is cut


@pytest.mark.parametrize(
    ("usable", "due", "off", "shown"),
    [
        (0, 0, 0, (0, 0, 0)),
        (7, 330, 90, (7, 330, 90)),
        (400, 90, 90, (400, LEAST, LEAST)),
        (401, 0, 0, (PHONE_LINES, 0, 0)),
        (3500, 3500, 3500, (PHONE_LINES, LEAST, LEAST)),
        (0, 3500, 3500, (0, LINES - LEAST, LEAST)),
        (100, 100, 3500, (100, 100, LINES - 200)),
    ],
)
@pytest.mark.django_db
def test_page_one_is_whole_up_to_400_lines_and_the_rest_fills_what_is_left(
    cast, monday, usable, due, off, shown
):
    builders.blanket("B-1", at=builders.holder("truck", "T-12"))
    told = report()
    (line,) = told.usable_now
    told = replace(told, usable_now=(line,) * usable, due_soon=(line,) * due, off_the_road=(line,) * off)
    caps = caps_for(told)
    assert (min(usable, caps.usable_now), min(due, caps.due_soon), min(off, caps.off_the_road)) == shown


@pytest.mark.django_db
def test_what_is_cut_says_so_and_names_the_csv(cast, monday):
    for number in range(3):
        builders.blanket(f"B-{number}", at=builders.holder("truck", "T-12"))
    told = report()
    html = pdf.weekly_html(Weekly(told, {}, None, None), caps=pdf.overdue.Caps(1, 1, 1))
    assert "Only the first 1 of 3 lines are shown here. The CSV file has all of them." in html
    assert 'class="count">3<' in html


# What it must never do


@pytest.fixture
def listener():
    """A server on this machine that remembers whether anybody called."""
    calls = []

    class Remembers(socketserver.BaseRequestHandler):
        def handle(self):
            calls.append(self.request.recv(200))

    with socketserver.TCPServer(("127.0.0.1", 0), Remembers) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}", calls
        server.shutdown()


def traps(file, address):
    return [
        f"<img src='file://{file}'>",
        f"<a rel=attachment href='file://{file}'>x</a>",
        f"<link rel=attachment href='file://{file}'>",
        f"<link rel=stylesheet href='{address}/a.css'>",
        f"<style>@import url({address}/b.css);</style>",
        f"<img src='{address}/c.png'>",
        f"<svg><image href='{address}/d.svg'/></svg>",
        f"<object data='file://{file}'></object>",
    ]


@pytest.mark.django_db
def test_addresses_planted_in_names_and_notes_are_text(cast, monday, tmp_path, listener):
    file = tmp_path / "secret.txt"
    file.write_text(CANARY)
    address, calls = listener
    for number, trap in enumerate(traps(file, address)):
        truck = builders.holder("truck", trap[:80])
        one = builders.blanket(f"<b>B-{number}</b>", at=truck)
        builders.happened(one, "held", reason=trap, on=monday)
    content = printed()
    words = " ".join(pages_of(content))
    assert "<b>B-0</b>" in words
    assert "<imgsrc=" in words.replace(" ", "")
    assert not _holds_canary(content)
    assert calls == []


def test_the_typesetter_fetches_nothing_even_where_a_document_asks_for_it(
    tmp_path, listener, monkeypatch, paper_set_here
):
    monkeypatch.setattr(setting.subprocess, "run", paper_set_here)  # as the service does it
    file = tmp_path / "secret.txt"
    file.write_text(CANARY)
    address, calls = listener
    html = (
        f"<!doctype html><html lang=en><title>x</title>{''.join(traps(file, address))}<p>still set</p></html>"
    )
    content = setting.pdf_from(html)
    assert "still set" in pages_of(content)[0]
    assert not _holds_canary(content)
    assert calls == []


def test_a_fetcher_that_fetches_would_be_found_out(tmp_path):
    """The control of the two tests above: the default of WeasyPrint embeds the file, and that shows."""
    import weasyprint

    file = tmp_path / "secret.txt"
    file.write_text(CANARY)
    html = f"<!doctype html><html lang=en><title>x</title><a rel=attachment href='file://{file}'>x</a></html>"
    assert _holds_canary(weasyprint.HTML(string=html).write_pdf())


def _holds_canary(content):
    """Whether the canary stands anywhere in the file, packed or not."""
    read = pypdf.PdfReader(io.BytesIO(content))
    found = [
        read.get_object(pypdf.generic.IndirectObject(number, 0, read))
        for number in range(1, read.trailer["/Size"])
    ]
    streams = [one.get_data() for one in found if isinstance(one, pypdf.generic.StreamObject)]
    assert streams
    return any(CANARY.encode() in data for data in (content, *streams))


def test_the_typesetter_knows_no_secret_of_the_service(monkeypatch):
    seen = {}

    def run(command, **choices):
        seen.update(choices["env"])
        return subprocess.CompletedProcess(command, 0, b"%PDF-", b"")

    monkeypatch.setenv("SECRET_KEY", "hush")
    monkeypatch.setenv("DATABASE_URL", "postgres://hush")
    monkeypatch.setattr(setting.subprocess, "run", run)
    setting.pdf_from("")
    assert "PATH" in seen
    assert not {"SECRET_KEY", "DATABASE_URL", "EMAIL_URL"} & seen.keys()


def test_weasyprint_is_not_loaded_by_the_service():
    """It takes half a second and some 60 MiB, and only the typesetter needs it."""
    code = "import django, os, sys; os.environ['DJANGO_SETTINGS_MODULE'] = 'gear.site.settings'; django.setup(); "
    code += "import reports.urls; sys.exit('weasyprint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# What goes wrong


@pytest.mark.parametrize(
    "program",
    [
        "raise SystemExit(3)",
        "print('no PDF')",
        "import os; os.kill(os.getpid(), 9)",
        "import time; time.sleep(30)",
    ],
)
@pytest.mark.django_db
def test_a_pdf_that_cannot_be_made_is_said_and_the_report_is_shown_instead(
    fleet, client, tmp_path, monkeypatch, program
):
    broken = tmp_path / "typesetter.py"
    broken.write_text(program)
    monkeypatch.setattr(setting, "TYPESETTER", broken)
    monkeypatch.setattr(setting, "WAIT_S", 1)
    client.force_login(fleet.cast.ines)
    answer = client.get("/reports/overdue.pdf")
    assert answer.status_code == 503
    assert answer.headers["Content-Type"].startswith("text/html")
    assert "The PDF could not be made. Take the page or the CSV file" in answer.content.decode()
    assert "B-held" in answer.content.decode()


def test_the_typesetter_bounds_its_own_memory_and_computing():
    code = (
        "import resource, sys; sys.path.insert(0, sys.argv[1]); import typesetter; typesetter.bound(); "
        "assert 0 < resource.getrlimit(resource.RLIMIT_CPU)[0] <= typesetter.COMPUTING_S; "
        "assert 0 < resource.getrlimit(resource.RLIMIT_AS)[0] <= typesetter.MEMORY_B; "
        "bytearray(typesetter.MEMORY_B)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(setting.TYPESETTER.parent)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr.strip().endswith("MemoryError")
