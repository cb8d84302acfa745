"""What a certificate says of bench, looks and instruments, and what it leaves to people who may read names."""

from datetime import date

import pytest
from django.utils import timezone

from gear.models import Entry
from inspections.models import BenchSession, ElectricalTest, Instrument
from inspections.rules import testfacts
from inspections.rules.calibration import Calibration, History
from reports.rules.certificate import Certificate, Standing
from reports.wording import certificate_rows
from reports.wording.certificates import tell
from tests import builders
from tests.reports.papers import DAY, fourteen_inch, issued, logged, words_of

pytestmark = pytest.mark.django_db
SESSION = {
    "supply": "ac",
    "applied_v": 20_000,
    "seconds": 60,
    "leakage_ma": "14.2",
    "visual": "accept",
    "look_before": "accept",
    "look_after": "accept",
    "breakdown": False,
    "flashover": False,
    "instrument": "M-1",
    "session": "BS-0001",
    "operator": "orla",
    "checker": "ines",
    "bench": "Bench 1",
    "water": "64 mm",
    "ambient_c": "21.5",
    "humidity_pct": "40",
    "retest": 1,
    "calibration": "on_file",
}


def at_the_bench(**readings) -> Entry:
    """A test as a bench session posts it, with its row."""
    item = fourteen_inch(readings.pop("item_no", "G-00001"))
    stated = {**SESSION, **readings}
    entry = builders.tested(item, on=DAY, readings=stated)[0]
    session = BenchSession.objects.get_or_create(
        number="BS-0001",
        defaults={
            "tested_on": DAY,
            "bench": "Bench 1",
            "instrument": "M-1",
            "purpose": "in_service",
            "opened_by": builders.person("clerk", "orla"),
            "opened_at": timezone.now(),
        },
    )[0]
    columns = testfacts.columns_of(entry.facts, item_no=item.item_no, tested_on=DAY)
    ElectricalTest(entry=entry, item=item, session=session, **columns).save()
    return entry


def test_of_a_bench_session_its_paper_names_all_that_the_session_knew(client, cast):
    cast.orla.first_name, cast.orla.last_name = "Orla", "Prynne"
    cast.orla.save()
    entry = at_the_bench()
    client.force_login(cast.orla)
    words = words_of(client.get(f"/certificates/{entry.pk}.pdf").content)
    for wanted in (
        "Bench session BS-0001",
        "Operator Orla Prynne (orla)",
        "Checked by ines",
        "Bench Bench 1",
        "Look before Accept",
        "Look after, inflated Accept",
        "Water 64 mm",
        "Room 21.5 °C, 40 % humidity",
        "Void tests before it 1",
        "for the day of the test: M-1: calibration not on file",
    ):
        assert wanted in words, wanted


def test_the_certificates_of_a_session_are_found_by_its_number(client, cast):
    entry = at_the_bench()
    client.force_login(cast.halvard)
    page = client.get("/certificates/", {"by": "session", "what": "bs-0001"}).content.decode()
    assert f"/certificates/{entry.pk}.pdf" in page


def test_a_visitor_reads_neither_operator_nor_checker_nor_bench(client, cast):
    made = issued(at_the_bench()).certificate
    page = client.get("/certificates/check/", {"number": made.number, "code": made.code}).content.decode()
    assert "Genuine" in page
    assert not [name for name in ("orla", "ines<", "Bench 1", "BS-0001", "64 mm") if name in page]


def test_a_reading_that_has_no_word_here_yet_is_told_under_its_own_name(cast):
    made = issued(at_the_bench(electrode="foil")).certificate
    told = tell(made, Standing(), names={}, on_file={})
    assert ("electrode", "foil") in [(row.name, row.value) for row in told.papers]


# Calibrations


def of(name="M-1") -> Certificate:
    return issued(logged(fourteen_inch(), paper={"instrument": name})).certificate


FIRST = Calibration(date(2026, 1, 5), date(2027, 1, 4))


@pytest.mark.parametrize(
    ("history", "says"),
    [
        (History(), "M-1: calibration not on file"),
        (History((FIRST,)), "M-1: calibration on file through 4 JAN 2027"),
        (History(brought_in=date(2026, 12, 31)), "M-1: calibration on file through 31 DEC 2026"),
        (History(brought_in=date(2026, 9, 6)), "M-1: calibration had run out on 6 SEP 2026"),
        (
            History((Calibration(date(2026, 1, 5), None, in_tolerance=False),)),
            "M-1: not given back for use at its last calibration",
        ),
        # one made after the test makes no gap good
        (History((Calibration(date(2026, 9, 8), date(2027, 9, 7)),)), "M-1: calibration not on file"),
    ],
)
def test_the_register_is_asked_for_the_day_of_the_test(cast, history, says):
    assert certificate_rows.registered(of(), {"m-1": history}) == [says]


@pytest.mark.parametrize(
    ("later", "doubted"),
    [
        (Calibration(date(2026, 12, 1), None, in_tolerance=False), True),
        (Calibration(date(2026, 12, 1), date(2027, 12, 1), in_tolerance=False), True),
        (Calibration(date(2026, 12, 1), date(2027, 12, 1)), False),
        (Calibration(DAY, None, in_tolerance=False), False),  # found, not later than the test
    ],
)
def test_an_instrument_found_wrong_at_its_next_calibration_is_told_on_every_later_print(cast, later, doubted):
    found = certificate_rows.doubts(of(), {"m-1": History((FIRST, later))})
    assert found == (
        ["M-1 was found out of tolerance at its next calibration, on 1 DEC 2026."] if doubted else []
    )


def test_what_the_register_says_later_changes_neither_facts_nor_code(cast):
    entry = logged(fourteen_inch(), paper={"instrument": "M-1"})
    before = issued(entry).certificate
    Instrument.objects.create(name="M-1", calibration_due_on=date(2027, 1, 1))
    assert issued(entry).certificate.code == before.code
