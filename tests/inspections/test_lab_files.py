"""A lab's result file: every fate of a line, all or nothing, once only, and no unit taken for another."""

import io
from datetime import date

import pytest
from openpyxl import Workbook

from gear import queries as gear_queries
from gear.models import Entry, ImportedFile, ItemState
from gear.permissions import NotAllowed
from gear.rules.tables import FileRefused
from inspections.actions import labfiles as acts
from inspections.actions.labfiles import MappingRefused
from inspections.models import ElectricalTest, LabFile, LabMapping
from inspections.rules.labfile import Column
from inspections.wording import line_problem
from tests import builders
from tests.inspections import cartons, labfiles

pytestmark = pytest.mark.django_db


@pytest.fixture
def gloves(cast):
    """Five class 2 gloves of 360 mm: 16 mA at most; the first was tested before."""
    made = [builders.glove(f"G-{number:05d}", serial=f"S{number}") for number in range(1, 6)]
    return made


@pytest.fixture
def through(cast):
    return labfiles.mapping(cast.orla)


def dry(cast, through, *lines, shipment=None):
    return labfiles.run(acts.dry_run, cast.orla, labfiles.file(*lines), through, shipment)


def commit(cast, through, *lines, shipment=None):
    return labfiles.run(acts.commit, cast.orla, labfiles.file(*lines), through, shipment)


def codes(fate):
    return [one.code for one in (*fate.problems, *fate.notes) if one.code != "NOT_CALIBRATED"]


def test_a_file_is_read_judged_and_kept_with_the_mapping_it_was_read_through(cast, gloves, through):
    seen = commit(cast, through, {}, {"Leak": "9.8"}, {"Leak": "16.1", "Result": "FAIL"})
    assert seen.report.committed
    assert seen.report.outcomes == {"accepted": 2, "failed": 1}
    kept = LabFile.objects.get()
    assert kept.mapping == through
    assert bytes(kept.file.content).startswith(b"Piece,Test date")
    row = ElectricalTest.objects.get(item=gloves[0])
    assert (row.applied_v, row.seconds, str(row.leakage_ma), row.lab) == (20000, 60, "12.500", "The lab")
    assert (row.tested_on, row.report_no, row.lab_result) == (date(2026, 3, 2), "C-1", "accept")
    assert ItemState.objects.get(item=gloves[2]).condition == "rejected"


def test_the_same_file_twice_adds_nothing(cast, gloves, through):
    first = commit(cast, through, {}, {}, {})
    before = (Entry.objects.count(), ElectricalTest.objects.count(), ImportedFile.objects.count())
    again = commit(cast, through, {}, {}, {})
    assert (first.report.totals["new"], again.report.totals["new"], again.report.totals["known"]) == (3, 0, 3)
    assert (Entry.objects.count(), ElectricalTest.objects.count(), ImportedFile.objects.count()) == before


def test_the_same_file_through_the_next_version_of_its_mapping_adds_nothing_either(cast, gloves, through):
    commit(cast, through, {}, {})
    later = labfiles.mapping(cast.orla)
    assert (through.version, later.version) == (1, 2)
    assert commit(cast, later, {}, {}).report.totals["new"] == 0


FATES = {
    # name: (changes of the line, fate, codes of its problems and notes)
    "matched": ({}, "new", []),
    "not ours": ({"Piece": "G-99999"}, "refused", ["UNKNOWN_ITEM"]),
    "class differs": ({"CL": "3"}, "refused", ["CLASS_DIFFERS"]),
    "class not stated": ({"CL": ""}, "new", []),
    "older than the last test": ({"Piece": "G-00002"}, "new", ["OLDER_THAN_LAST"]),
    "verdict differs from ours": ({"Result": "FAIL"}, "new", ["LAB_DIFFERS"]),
    "verdict better than ours": ({"Leak": "16.1"}, "new", ["TEST_FAILED", "LAB_DIFFERS"]),
    "no verdict": ({"Result": ""}, "new", []),
    "voltage too low": ({"kV": "10"}, "new", ["TEST_VOID", "LAB_DIFFERS"]),
    "a word nobody explained": ({"Look": "so so"}, "refused", ["NO_WORD"]),
    "a decimal comma": ({"Leak": "12,5"}, "refused", ["NOT_THIS_NUMBER"]),
    "another way of dates": ({"Test date": "2026-03-02"}, "refused", ["NOT_THIS_DATE"]),
    "in the future": ({"Test date": "03/02/2080"}, "refused", ["FUTURE"]),
    "impossible": ({"Leak": "1000.5"}, "refused", ["OUT_OF_RANGE"]),
}


@pytest.mark.parametrize("name", sorted(FATES))
def test_every_fate_of_a_line(cast, gloves, through, name):
    changes, word, wanted = FATES[name]
    builders.tested(gloves[1], on=date(2026, 4, 1))
    # two sound lines beside it, so that one odd reading is not a column
    seen = dry(cast, through, changes, {"Piece": "G-00003"}, {"Piece": "G-00004"}, {"Piece": "G-00005"})
    fate = seen.report.fates[0]
    assert (fate.word, codes(fate)) == (word, wanted)
    assert all(line_problem(one) for one in (*fate.problems, *fate.notes))
    assert {one.word for one in seen.report.fates[1:]} == {"new"}


def test_a_line_that_repeats_another_is_a_duplicate_and_one_that_contradicts_it_is_refused(
    cast, gloves, through
):
    seen = dry(cast, through, {}, {"Piece": "G-00001"}, {"Piece": "G-00001", "Leak": "9.9"})
    assert [one.word for one in seen.report.fates] == ["new", "known", "refused"]
    assert codes(seen.report.fates[2]) == ["REPEATED"]


def test_one_refused_line_keeps_the_whole_file_out(cast, gloves, through):
    entries = Entry.objects.count()
    seen = commit(cast, through, {}, {}, {"CL": "3"})
    assert not seen.report.committed
    assert (Entry.objects.count(), ImportedFile.objects.count(), LabFile.objects.count()) == (entries, 0, 0)


def test_a_failure_while_the_file_is_kept_stores_none_of_it(cast, gloves, through, monkeypatch):
    entries = Entry.objects.count()

    def breaks(**_values):
        raise RuntimeError("the disk is gone")

    monkeypatch.setattr(LabFile.objects, "create", breaks)
    with pytest.raises(RuntimeError, match="disk"):
        commit(cast, through, {}, {})
    assert (Entry.objects.count(), ElectricalTest.objects.count(), ImportedFile.objects.count()) == (
        entries,
        0,
        0,
    )


# Units


SWAPPED = {
    # what the lab wrote: (changes of every line, column of the mapping, its name)
    "microamperes read as milliamperes": ({"Leak": "900"}, {}, "Leak"),
    "milliamperes read as amperes": ({"Leak": "0.9"}, {"Leak": Column("leakage_ma", "A")}, "Leak"),
    "milliamperes read as microamperes": ({"Leak": "12.5"}, {"Leak": Column("leakage_ma", "uA")}, "Leak"),
    "amperes read as milliamperes": ({"Leak": "0.012"}, {}, "Leak"),
    "kilovolts read as volts": ({"kV": "20"}, {"kV": Column("applied_v", "V")}, "kV"),
    "seconds read as minutes": ({"Minutes": "60"}, {}, "Minutes"),
    "minutes read as seconds": ({"Minutes": "1"}, {"Minutes": Column("seconds", "s")}, "Minutes"),
}


@pytest.mark.parametrize("name", sorted(SWAPPED))
def test_a_swapped_unit_is_seen_named_and_never_converted(cast, gloves, name):
    changes, columns, named = SWAPPED[name]
    wrong = labfiles.mapping(cast.orla, **columns)
    entries = Entry.objects.count()
    seen = commit(cast, wrong, *[changes] * 5)
    assert seen.doubted == (named,)
    assert {one.word for one in seen.report.fates} == {"refused"}
    said = line_problem(seen.report.fates[0].problems[0])
    assert said.startswith(f"{named}: unit?")
    assert Entry.objects.count() == entries


def test_currents_of_which_every_one_is_impossible_are_a_unit_too(cast, gloves, through):
    seen = dry(cast, through, {"Leak": "12500"}, {"Leak": "9800"})
    assert seen.doubted == ("Leak",)


@pytest.mark.parametrize("factor", [1000, 0.001])
def test_no_current_in_another_unit_ever_becomes_an_accepted_test(cast, gloves, through, factor):
    for reading in (0.5, 5, 9.8, 12.5, 15.9):
        seen = commit(cast, through, *[{"Leak": f"{reading * factor:.6f}".rstrip("0").rstrip(".")}] * 3)
        assert not seen.report.committed
    assert not Entry.objects.filter(kind="tested").exists()


def test_sound_files_of_other_units_are_read(cast, gloves):
    in_micro = labfiles.mapping(cast.orla, Leak=Column("leakage_ma", "uA"), Minutes=Column("seconds", "s"))
    seen = commit(cast, in_micro, {"Leak": "12500", "Minutes": "60"}, {"Leak": "9800", "Minutes": "62.5"})
    assert (seen.doubted, seen.report.outcomes) == ((), {"accepted": 2})


def test_a_length_that_the_lab_measured_otherwise_stops_its_line(cast, gloves):
    measured = labfiles.mapping(cast.orla, Initials=Column("length", "in"))
    seen = dry(cast, measured, {"Initials": "14"}, {"Initials": "16"}, {"Initials": ""})
    assert [codes(one) for one in seen.report.fates] == [[], ["LENGTH_DIFFERS"], []]


def test_a_cable_length_in_feet_is_compared_in_feet(cast):
    builders.jumper("J-1", cable_length_m="3.048")
    feet = labfiles.mapping(
        cast.orla, Initials=Column("cable_length", "ft"), Leak=Column("resistance_mohm", "milliohm"),
        kV=Column("cable_temp_c", "F"), Minutes=Column(""), CL=Column(""), constants={"purpose": "in_service"},
    )  # fmt: skip
    sound = {"Piece": "J-1", "Initials": "10", "Leak": "0.9", "kV": "68", "Broke": ""}
    assert codes(dry(cast, feet, sound).report.fates[0]) == []
    assert codes(dry(cast, feet, {**sound, "Initials": "3.048"}).report.fates[0]) == ["CABLE_LENGTH_DIFFERS"]
    assert dry(cast, feet, {**sound, "Leak": "0.0009"}).doubted == ("Leak",)
    assert dry(cast, feet, {**sound, "kV": "20"}).doubted == ("kV",)


def test_a_serial_that_the_lab_read_otherwise_stops_its_line(cast, gloves):
    read = labfiles.mapping(cast.orla, Initials=Column("serial"))
    seen = dry(cast, read, {"Initials": "s1"}, {"Initials": "S9"})
    assert [codes(one) for one in seen.report.fates] == [[], ["SERIAL_DIFFERS"]]


# Shipments


def test_what_is_missing_from_the_shipment_and_what_was_not_in_it_is_said(cast, gloves, through):
    one = cartons.sent(cast.orla, *gloves[:3])
    seen = dry(cast, through, {}, {"Piece": "G-00005"}, shipment=one)
    assert seen.not_in_file == ("G-00002", "G-00003")
    assert [codes(fate) for fate in seen.report.fates] == [[], ["NOT_IN_SHIPMENT"]]
    assert not seen.report.refused


def test_the_result_file_of_a_shipment_brings_its_passed_pieces_back(cast, gloves, through):
    one = cartons.sent(cast.orla, *gloves[:2])
    for glove in gloves[:2]:
        cartons.settle(one, glove, by=cast.orla)
    day = builders.today().strftime("%m/%d/%Y")
    later = {"Test date": day}
    commit(cast, through, later, {**later, "Leak": "18"}, shipment=one)
    # a test of the day of sending is not after it: the record cannot tell which came first
    assert {ItemState.objects.get(item=glove).condition for glove in gloves[:1]} == {"out_for_test"}
    assert ItemState.objects.get(item=gloves[1]).condition == "rejected"
    assert gear_queries.answer("G-00002", gear_queries.question()).verdict == "stop"


# Files and mappings


def test_a_column_that_the_mapping_does_not_know_refuses_the_file(cast, gloves, through):
    data = labfiles.file({}).replace(b"Initials", b"Inspector")
    with pytest.raises(FileRefused, match="Inspector"):
        labfiles.run(acts.dry_run, cast.orla, data, through)


def test_a_file_with_semicolons_and_decimal_commas_is_read_as_its_mapping_says(cast, gloves):
    european = labfiles.mapping(cast.orla, decimal="comma", separator="semicolon", date_format="DD.MM.YYYY")
    data = labfiles.file({"Leak": "12,5", "Test date": "02.03.2026"}, delimiter=";")
    seen = labfiles.run(acts.commit, cast.orla, data, european)
    assert seen.report.outcomes == {"accepted": 1}
    assert str(ElectricalTest.objects.get().leakage_ma) == "12.500"


def test_a_workbook_is_read_with_its_true_numbers_and_dates(cast, gloves, through):
    book = Workbook()
    book.active.append(list(labfiles.LINE))
    line = {**labfiles.LINE, "Test date": date(2026, 3, 2), "Leak": 12.5, "kV": 20, "Minutes": 1, "CL": 2}
    book.active.append(list(line.values()))
    out = io.BytesIO()
    book.save(out)
    seen = labfiles.run(acts.commit, cast.orla, out.getvalue(), through, name="lab.xlsx")
    assert seen.report.outcomes == {"accepted": 1}


def test_versions_of_a_mapping_stay(cast):
    first = labfiles.mapping(cast.orla)
    labfiles.mapping(cast.orla, decimal="comma")
    assert list(LabMapping.objects.order_by("version").values_list("version", flat=True)) == [1, 2]
    assert LabMapping.objects.get(pk=first.pk).content["decimal"] == "point"


def test_a_mapping_that_leaves_a_unit_open_is_not_kept(cast):
    with pytest.raises(MappingRefused, match="Leak: choose its unit"):
        labfiles.mapping(cast.orla, Leak=Column("leakage_ma"))
    assert not LabMapping.objects.exists()


@pytest.mark.parametrize("name", ["dev", "bertrand", "ines", "halvard"])
def test_only_who_may_import_files_reads_them_and_keeps_mappings(cast, gloves, through, name):
    with pytest.raises(NotAllowed):
        labfiles.mapping(getattr(cast, name))
    with pytest.raises(NotAllowed):
        labfiles.run(acts.dry_run, getattr(cast, name), labfiles.file({}), through)


def test_a_dry_run_asks_as_many_questions_for_five_lines_as_for_two(
    cast, gloves, through, django_assert_max_num_queries
):
    dry(cast, through, {})
    with django_assert_max_num_queries(12):
        dry(cast, through, {}, {})
    with django_assert_max_num_queries(12):
        dry(cast, through, *[{}] * 5)
