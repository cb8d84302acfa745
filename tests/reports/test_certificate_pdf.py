"""Certificates on paper, read back with pypdf, which shares no code with what made them."""

import io
import re
from decimal import Decimal

import pypdf
import pytest

from gear.actions.acting import Act
from gear.actions.corrections import correct
from gear.ledger import make_seal
from gear.pdf import Attachment, setting
from reports.rules import certificate_check as check
from tests import builders
from tests.reports.papers import DAY, attached, fourteen_inch, issued, logged, ten_feet, words_of

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture
def office(client, cast):
    client.force_login(cast.orla)
    return client


def printed(client, entry, **choices) -> bytes:
    answer = client.get(f"/certificates/{entry.pk}.pdf", choices)
    assert answer.status_code == 200
    return answer.content


def test_a_glove_of_14_inches_in_class_2_is_held_against_16_ma_with_its_length(office, cast):
    entry = logged(fourteen_inch(), cast.orla)
    made = issued(entry).certificate
    content = printed(office, entry)
    words = words_of(content)
    for wanted in (
        f"Test certificate {made.number}",
        "Glove, class 2, left, size 10",
        "Serial KX-4471",
        "Maker Northgate Dielectric",
        "Tested on 7 SEP 2026",
        "Accepted",
        "MAX USE 17,000 V",
        "20 kV, a proof voltage, not a working voltage",
        "60 s (60 s at least)",
        "Current read 16 mA",
        "16 mA for class 2, length 356 mm (14.0 in)",
        "Instrument M-1",
        "Calibration not on file",
        "Recorded by orla",
        made.code,
        entry.hash,
        "29 CFR 1910.137(c)(2)(xii)",
        "confirm",
        "clears nothing for use",
        "Page 1 of 1",
    ):
        assert wanted in words, wanted
    assert check.report(check.attached(content))[1]
    assert "DEMO" not in words


# Voltages of the bench


@pytest.mark.parametrize(
    "cells", [{}, {"applied_v": 15_000}, {"seconds": 20}, {"leakage_ma": Decimal(0)}, {"supply": "dc"}]
)
def test_a_voltage_in_kv_never_stands_without_the_words_proof_voltage(office, cast, cells):
    words = words_of(printed(office, logged(fourteen_inch(), cast.orla, **cells)))
    found = [words[match.start() : match.end() + 60] for match in re.finditer(r"\d kV", words)]
    assert found
    assert [after for after in found if "proof voltage" not in after] == []


def test_nor_does_it_in_a_batch(office, cast):
    logged(fourteen_inch(), cast.orla)
    words = words_of(office.get("/certificates/batch.pdf", {"by": "tested_on", "what": "2026-09-07"}).content)
    found = [words[match.start() : match.end() + 20] for match in re.finditer(r"\d kV", words)]
    assert [after for after in found if "proof voltage" not in after] == []
    assert len(found) == 1
    assert "17,000 V" in words


# Jumpers: 2/0, 10 ft, 1.250 milliohm at 35 C is 1.180 at 20 C against 1.155, and 1.250 against 1.204 as read


def test_the_arithmetic_of_a_jumper_stands_on_the_paper(office, cast):
    entry = logged(ten_feet(), cast.orla)
    words = words_of(printed(office, entry))
    for wanted in (
        f"Test record {issued(entry).certificate.number}",
        "FAILED",
        "Resistance read 1.25 milliohm",
        "Cable temperature 35 °C",
        "Reading corrected to 20 °C 1.180 milliohm = 1.25 / (1 + 0.00393 × (35 − 20))",
        "2/0, 3.048 m (10.00 ft)",
        "1.155 milliohm = 1.05 × 0.0795 × 10.00 ft + 0.32",
        "Reading as read, cable at 35 °C 1.250 milliohm",
        "1.204 milliohm = 1.05 × 0.0795 × 10.00 ft × (1 + 0.00393 × (35 − 20)) + 0.32",
        "third-party summary of ASTM F2249",
    ):
        assert wanted in words, wanted
    assert " kV" not in words


def test_two_figures_that_three_places_cannot_tell_apart_are_given_with_four(office, cast):
    # the limit of 2/0 and 10 ft at 20 C is 1.15475 milliohm
    words = words_of(
        printed(
            office,
            logged(ten_feet(), cast.orla, resistance_mohm=Decimal("1.155"), cable_temp_c=Decimal(20)),
        )
    )
    assert "FAILED" in words
    assert "1.1550 milliohm" in words or "1.155 milliohm" in words
    assert "1.1548 milliohm" in words


# What certifies nothing


@pytest.mark.parametrize(
    ("cells", "columns", "word"),
    [
        ({"leakage_ma": Decimal("16.1")}, {}, "FAILED"),
        ({"flashover": True}, {}, "VOID"),
        ({"visual": "test"}, {}, "VOID"),
        ({}, {"length_mm": None}, "NOT JUDGED"),
    ],
)
def test_what_was_not_accepted_is_a_test_record_with_the_word_and_never_a_certificate(
    office, cast, cells, columns, word
):
    words = words_of(printed(office, logged(fourteen_inch(**columns), cast.orla, **cells)))
    assert word in words
    assert "Test record" in words
    assert "Test certificate" not in words
    assert "good through" not in words.casefold()
    assert "asks for a certification" not in words


def test_a_withdrawn_test_is_printed_as_withdrawn(office, cast):
    entry = logged(fourteen_inch(), cast.orla)
    correct(entry, new=None, reason="another glove", act=Act(cast.orla))
    words = words_of(printed(office, entry))
    assert "WITHDRAWN" in words
    assert "this test does not count" in words
    assert "Test certificate" not in words


def test_a_certificate_does_not_say_that_the_item_may_be_used(office, cast):
    entry = logged(builders.blanket("B-1"), cast.orla, on=builders.today())
    words = words_of(printed(office, entry)).casefold()
    assert "good through" in words
    assert "scan to confirm" in words
    assert not re.search(r"\bsafe\b|\bready to use\b|\bmay be used\b|\bcleared\b", words)


# The file


@pytest.mark.parametrize(("paper", "size"), [("letter", (612, 792)), ("a4", (595, 842))])
def test_the_paper_is_letter_or_a4(office, cast, paper, size):
    content = printed(office, logged(builders.blanket("B-1"), cast.orla), paper=paper)
    box = pypdf.PdfReader(io.BytesIO(content)).pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


def test_demo_stands_on_the_paper_of_a_demo(office, cast, settings):
    settings.DEMO = True
    assert "DEMO" in words_of(printed(office, logged(fourteen_inch(), cast.orla)))


def test_a_batch_sums_up_by_outcome_and_keeps_apart_what_certifies_nothing(office, cast):
    logged(fourteen_inch("G-00001", serial="KX-1"), cast.orla)
    logged(fourteen_inch("G-00002", serial="KX-2"), cast.orla, leakage_ma=Decimal(20))
    make_seal(logged(ten_feet(), cast.orla).recorded_at)
    content = office.get("/certificates/batch.pdf", {"by": "tested_on", "what": "2026-09-07"}).content
    words = words_of(content)
    for wanted in (
        "Tests of 7 SEP 2026",
        "Failed 2",
        "Accepted 1",
        "Lines 3",
        "Not certified: records of tests that certify nothing",
        "16 mA at 356 mm (14.0 in)",
        "1.180 milliohm at 20 °C",
        "Sealed: 6 of 6 entries.",
        "Page 1 of",
    ):
        assert wanted in words, wanted
    lines, fine = check.report(check.attached(content))
    assert fine
    assert sum("as the entries say" in line for line in lines) == 3


def test_the_attachment_is_found_by_the_program_and_by_an_independent_reader(office, cast):
    content = printed(office, logged(fourteen_inch(), cast.orla))
    files = pypdf.PdfReader(io.BytesIO(content)).attachments
    assert check.json.loads(files[check.ATTACHMENT][0]) == check.attached(content)


def test_a_paper_with_a_second_attachment_of_the_kind_is_refused(cast):
    given = check.canonical(attached(logged(fourteen_inch(), cast.orla)))
    page = "<html lang=en><title>x</title><body><p>x</p>"
    content = setting.pdf_from(page, attachment=Attachment(check.ATTACHMENT, given))
    assert check.attached(content)["format"] == check.FORMAT
    with pytest.raises(check.NotACertificate, match="2 certificates"):
        check.attached(content + content)
    with pytest.raises(check.NotACertificate, match="0 certificates"):
        check.attached(setting.pdf_from(page))


def test_the_command_checks_a_paper_and_asks_no_database(office, cast, manage, tmp_path):
    entry = logged(fourteen_inch(), cast.orla)
    seal = make_seal(entry.recorded_at)
    paper = tmp_path / "paper.pdf"
    paper.write_bytes(printed(office, entry))
    true = manage("verify_certificate", str(paper), "--seal", f"{seal.number}:{seal.hash}")
    assert true.returncode == 0, true.stderr
    assert "The entries were in the record when the printed seal was made." in true.stdout
    assert manage("verify_certificate", str(paper), "--seal", f"{seal.number}:{'0' * 64}").returncode == 1
    assert manage("verify_certificate", str(tmp_path / "none.pdf")).returncode == 2
    assert DAY.isoformat() in true.stdout
