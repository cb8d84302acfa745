"""What a certificate certifies, its number and code, and the check that needs no database."""

import copy
import hashlib
import json
import subprocess
import sys
from decimal import Decimal

import pytest

from gear.actions.acting import Act
from gear.actions.corrections import correct, replacement
from gear.ledger import make_seal
from gear.models import Entry, Item, ItemType
from gear.rules import hashing
from inspections.actions.corrections import correct_test
from inspections.rules.acceptance import Reading
from inspections.rules.testfacts import Paper
from reports.rules import certificate_check as check
from reports.rules.certificate import same_code, typed_number
from tests import builders
from tests.conftest import PROJECT
from tests.reports.papers import DAY, GLOVE, attached, fourteen_inch, issued, logged, ten_feet

pytestmark = pytest.mark.django_db


@pytest.fixture
def glove_test(cast):
    return logged(fourteen_inch(), cast.orla)


def corrected(entry, by, **cells) -> Entry:
    act = Act(by)
    correct_test(
        entry,
        Reading(DAY, "in_service", **{**GLOVE, **cells}),
        Paper(instrument="M-1", report_no=entry.facts["readings"]["report_no"]),
        reason="read the meter wrong",
        act=act,
    )
    return Entry.objects.get(pk=act.id)


def test_it_identifies_the_item_and_the_date_of_the_test_and_what_was_read(glove_test):
    facts = issued(glove_test).certificate.facts
    # 29 CFR 1910.137(c)(2)(xii): the equipment and the date; the rest is JOB practice
    assert facts["item"] == "G-00001"
    assert facts["tested_on"] == "2026-09-07"
    assert facts["identity.serial"] == "KX-4471"
    assert facts["test.readings.leakage_ma"] == "16"
    assert facts["test.limit.limit_ma.value"] == "16"
    assert facts["test.judged_as.length_mm"] == "356"
    assert facts["figures.max_use_v.value"] == "17000"
    assert facts["recorded_by"] == "orla"
    assert facts["entry_hash"] == glove_test.hash


def test_the_number_is_the_item_and_the_place_in_its_record_and_the_code_has_six_groups(glove_test):
    made = issued(glove_test).certificate
    assert made.number == f"G-00001/{glove_test.position}"
    assert [len(group) for group in made.code.split("-")] == [4] * 6
    assert set(made.code) <= set(check.SYMBOLS) | {"-"}


def test_the_code_is_that_of_an_independent_reading_of_the_rule(glove_test):
    made = issued(glove_test).certificate
    content = {"format": "test-certificate 1", "number": made.number, "facts": dict(made.facts)}
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()
    left, symbols = int(hashlib.sha256(text).hexdigest(), 16), ""
    while len(symbols) < 24:
        symbols += "234679ACDEFHJKMNPRTVWXY"[left % 23]
        left //= 23
    assert made.code.replace("-", "") == symbols


def test_a_genuine_certificate_passes_the_check_without_a_database(glove_test):
    lines, fine = check.report(attached(glove_test))
    assert fine
    assert "NOT AS CERTIFIED" not in "\n".join(lines)


def everywhere(value, path=()):
    """Every place of some JSON that holds a figure or a word."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from everywhere(inner, (*path, name))
    elif isinstance(value, list):
        for place, inner in enumerate(value):
            yield from everywhere(inner, (*path, place))
    else:
        yield path


def altered(given, path):
    """The same with another content in one place."""
    other = copy.deepcopy(given)
    inner = other
    for part in path[:-1]:
        inner = inner[part]
    was = inner[path[-1]]
    inner[path[-1]] = (
        (not was) if isinstance(was, bool) else was + 1 if isinstance(was, int) else f"{was or ''}1"
    )
    return other


@pytest.mark.parametrize("kind", ["glove", "jumper", "corrected", "sealed"])
def test_whoever_alters_anything_that_is_certified_fails_the_check(cast, kind):
    entry = logged(ten_feet() if kind == "jumper" else fourteen_inch(), cast.orla)
    if kind == "corrected":
        entry = corrected(entry, cast.ines, leakage_ma=Decimal("12.5"))
    if kind == "sealed":
        make_seal(entry.recorded_at)
    given = attached(entry)
    places = [path for path in everywhere(given) if path != ("format",)]
    assert len(places) > 60
    assert check.report(given)[1]
    passed = [path for path in places if check.report(altered(given, path))[1]]
    assert passed == []


@pytest.mark.parametrize("name", ["test.readings.leakage_ma", "identity.serial", "tested_on", "test.outcome"])
def test_a_new_code_for_altered_facts_does_not_help_for_the_entries_say_otherwise(glove_test, name):
    given = attached(glove_test)
    one = given["certificates"][0]
    one["facts"][name] = "9"
    one["code"] = check.code_of(one["number"], one["facts"])
    lines, fine = check.report(given)
    assert not fine
    assert any(name in line for line in lines)


def test_whoever_forges_the_entry_too_fails_against_a_printed_seal(glove_test):
    seal = make_seal(glove_test.recorded_at)
    printed = (seal.number, seal.hash[:16])
    given = attached(glove_test)
    assert check.report(given, printed)[1]
    forged = copy.deepcopy(given)
    one = forged["certificates"][0]
    one["entries"]["test"]["facts"]["readings"]["leakage_ma"] = "9"
    one["facts"] = {
        name: text for name, text in one["facts"].items() if name.startswith(check.PACK)
    } | check.facts_of(one["entries"])
    one["code"] = check.code_of(one["number"], one["facts"])
    assert check.problems_of(one) == []  # by itself nothing shows
    assert not check.report(forged)[1]  # its place under the seal does
    one["leaves"] = {}
    assert check.report(forged)[1]  # and where that is taken away
    assert not check.report(forged, printed)[1]  # the printed seal does


def test_a_seal_printed_up_to_a_month_later_vouches_for_it_and_an_older_or_other_one_does_not(
    glove_test, cast
):
    first = make_seal(glove_test.recorded_at)
    builders.blanket("B-1")
    later = make_seal(Item.objects.get(item_no="B-1").entry_set.get().recorded_at)
    given = attached(glove_test)
    assert check.report(given, (later.number, later.hash))[1]
    assert check.report(given, (first.number, first.hash))[1]
    assert not check.report(given, (later.number, first.hash))[1]
    assert not check.report(given, (later.number + 1, later.hash))[1]
    lines, _fine = check.report(given)
    assert any(f"seal {first.number}" in line for line in lines)


def test_a_line_of_seals_that_is_only_stated_leads_nowhere(glove_test):
    """Who forges entry, root and seal can state any hash for the seals after it; none of them works out."""
    make_seal(glove_test.recorded_at)
    builders.blanket("B-1")
    later = make_seal(Item.objects.get(item_no="B-1").entry_set.get().recorded_at)
    given = attached(glove_test)
    one, seals = given["certificates"][0], given["seals"]
    one["entries"] = {"test": one["entries"]["test"]}
    one["entries"]["test"]["facts"]["readings"]["leakage_ma"] = "9"
    figures = {name: text for name, text in one["facts"].items() if name.startswith(check.PACK)}
    one["facts"] = figures | check.facts_of(one["entries"])
    one["code"] = check.code_of(one["number"], one["facts"])
    one["leaves"] = {"test": {"seal": 1, "index": 0, "count": 1, "path": []}}
    seals["1"]["merkle_root"] = check.root_by_path(check.hash_of(one["entries"]["test"]), 0, 1, [])
    seals["1"]["hash"] = seals["2"]["previous_hash"] = check.seal_hash(seals["1"])
    assert check.report(given)[1]  # by itself nothing shows
    assert not check.report(given, (later.number, later.hash))[1]


def test_before_any_seal_it_says_so(glove_test):
    lines, fine = check.report(attached(glove_test))
    assert fine
    assert "  No seal covers the entries yet." in lines


# For ever the same


def test_it_says_the_same_years_later_whatever_became_of_the_item(glove_test, cast):
    before = issued(glove_test).certificate
    item = glove_test.item
    ItemType.objects.filter(pk=item.item_type_id).update(maker="Somebody else", length_mm=410)
    Item.objects.filter(pk=item.pk).update(serial="other")
    receipt = item.entry_set.get(kind="received")
    identity = {**receipt.facts["identity"], "serial": "KX-4471A", "lot": "LOT-9"}
    correct(
        receipt,
        new=replacement(receipt, facts={**receipt.facts, "identity": identity}),
        reason="misread the stamp",
        act=Act(cast.ines),
    )
    logged(item, cast.orla, on=date_after(DAY), paper={"report_no": "R-2"})
    make_seal(Entry.objects.order_by("-recorded_at").first().recorded_at)
    after = issued(glove_test).certificate
    assert (after.number, after.code, after.facts) == (before.number, before.code, before.facts)


def date_after(day):
    return day.replace(day=day.day + 1)


def test_a_later_test_certifies_what_the_item_was_by_then_known_to_be(glove_test, cast):
    receipt = glove_test.item.entry_set.get(kind="received")
    identity = {**receipt.facts["identity"], "serial": "KX-4471A"}
    facts = {**receipt.facts, "identity": identity}
    correct(receipt, new=replacement(receipt, facts=facts), reason="misread", act=Act(cast.ines))
    later = logged(glove_test.item, cast.orla, on=date_after(DAY), paper={"report_no": "R-2"})
    assert issued(later).certificate.facts["identity.serial"] == "KX-4471A"
    assert check.report(attached(later))[1]


# Corrected and withdrawn


def test_a_correction_is_a_new_certificate_that_names_the_old_one(glove_test, cast):
    second = corrected(glove_test, cast.ines, leakage_ma=Decimal("12.5"))
    old, new = issued(glove_test), issued(second)
    assert new.certificate.number == f"G-00001/{second.position}"
    assert new.certificate.facts["replaces"] == old.certificate.number
    assert new.certificate.facts["test.readings.leakage_ma"] == "12.5"
    assert new.standing.word == "in_force"
    assert (old.standing.word, old.standing.number) == ("replaced", new.certificate.number)
    assert old.certificate.facts["test.readings.leakage_ma"] == "16"


def test_corrected_twice_each_names_the_one_before_and_both_are_replaced_by_the_last(glove_test, cast):
    second = corrected(glove_test, cast.ines, leakage_ma=Decimal("12.5"))
    third = corrected(glove_test, cast.ines, leakage_ma=Decimal("13.5"))
    first, middle, last = issued(glove_test), issued(second), issued(third)
    assert last.certificate.facts["replaces"] == middle.certificate.number
    assert first.standing.number == middle.standing.number == last.certificate.number


def test_a_withdrawn_test_is_withdrawn(glove_test, cast):
    correct(glove_test, new=None, reason="another glove", act=Act(cast.orla))
    found = issued(glove_test)
    assert found.standing.word == "withdrawn"
    assert found.standing.at is not None
    withdrawal = Entry.objects.get(corrects=glove_test)
    assert issued(withdrawal).certificate is None


# Nothing is certified from a record that cannot be relied upon


def test_a_broken_record_certifies_nothing(glove_test, past_the_guards):
    past_the_guards(
        "UPDATE gear_entry SET device = 'x' WHERE item_id = %s AND position = 1", glove_test.item_id
    )
    found = issued(glove_test)
    assert found.certificate is None
    assert "was changed after it was recorded" in found.problem


def test_a_rule_pack_that_is_not_there_certifies_nothing(cast):
    entry = builders.tested(fourteen_inch(), pack="us_federal 99")[0]
    assert issued(entry).certificate is None
    assert issued(entry).problem


# The rules of the ledger, a second time in the program that stands alone


def test_the_program_hashes_as_the_ledger_does(glove_test):
    stated = attached(glove_test)["certificates"][0]["entries"]["test"]
    assert check.hash_of(stated) == glove_test.hash
    assert check.canonical(stated) == hashing.canonical(stated)


def test_the_program_alone_needs_nothing_of_the_service(glove_test, tmp_path):
    given = attached(glove_test)
    program = tmp_path / "certificate_check.py"
    program.write_bytes((PROJECT / "reports/rules/certificate_check.py").read_bytes())
    for name, content in {
        "true.json": given,
        "false.json": altered(given, ("certificates", 0, "code")),
    }.items():
        (tmp_path / name).write_text(json.dumps(content))
    (tmp_path / "none.json").write_text("{}")
    run = [sys.executable, "-I", "-S", str(program)]
    statuses = [
        subprocess.run([*run, str(tmp_path / name)], capture_output=True, check=False).returncode
        for name in ("true.json", "false.json", "none.json", "missing.json")
    ]
    assert statuses == [0, 1, 2, 2]


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("G-00001/7", ("G-00001", 7)),
        (" G-00001 / 7 ", ("G-00001", 7)),
        ("A/B/3", ("A/B", 3)),
        ("G-00001", None),
        ("/7", None),
        ("G-00001/", None),
        ("G-00001/-7", None),
        ("G-00001/٣", None),
        ("G-00001/1234567", None),
    ],
)
def test_a_number_is_read_as_printed_and_nothing_else_is(typed, read):
    found = typed_number(typed)
    assert (found and (found.item_no, found.position)) == read


def test_a_code_may_be_typed_in_any_case_and_grouping(glove_test):
    code = issued(glove_test).certificate.code
    assert same_code(code.lower().replace("-", " "), code)
    assert not same_code(code[:-1], code)
    assert not same_code("", code)
