"""The certified facts and the code of one certificate, written down: they may never come out otherwise."""

import copy

import pytest

from reports.rules import certificate_check as check
from reports.rules.certificate import NotCertified, certificate, tally

RECEIPT = {
    "id": "11111111-1111-4111-8111-111111111111",
    "subject": "item:G-00001",
    "position": 1,
    "kind": "received",
    "occurred_at": "2026-01-05T05:00:00.000000+00:00",
    "occurred_on": "2026-01-05",
    "precision": "day",
    "recorded_at": "2026-01-05T14:00:00.000000+00:00",
    "by": "orla",
    "via": "web",
    "device": "",
    "facts": {
        "v": 1,
        "identity": {"kind": "glove", "class": "2", "length_mm": 356, "serial": "KX-4471", "lot": None},
        "holder": {"kind": "shelf", "name": "B"},
    },
    "corrects": None,
    "previous": "",
}
TEST = {
    **RECEIPT,
    "id": "22222222-2222-4222-8222-222222222222",
    "position": 2,
    "kind": "tested",
    "occurred_on": "2026-09-07",
    "facts": {
        "v": 1,
        "outcome": "accepted",
        "purpose": "in_service",
        "pack": "us_federal 1",
        "judged_as": {"kind": "glove", "class": "2", "length_mm": 356},
        "readings": {"supply": "ac", "applied_v": 20000, "leakage_ma": "16", "breakdown": False},
        "codes": [{"code": "EXAMPLE", "n": 1}],
    },
    "previous": "ab" * 32,
}
FACTS = {
    "item": "G-00001",
    "tested_on": "2026-09-07",
    "entry": "22222222-2222-4222-8222-222222222222",
    "entry_hash": "HASH",
    "recorded_at": "2026-01-05T14:00:00.000000+00:00",
    "recorded_by": "orla",
    "recorded_via": "web",
    "test.outcome": "accepted",
    "test.purpose": "in_service",
    "test.pack": "us_federal 1",
    "test.judged_as.kind": "glove",
    "test.judged_as.class": "2",
    "test.judged_as.length_mm": "356",
    "test.readings.supply": "ac",
    "test.readings.applied_v": "20000",
    "test.readings.leakage_ma": "16",
    "test.readings.breakdown": "false",
    "test.codes.1.code": "EXAMPLE",
    "test.codes.1.n": "1",
    "identity_entry": "11111111-1111-4111-8111-111111111111",
    "identity_hash": "HASH",
    "identity.kind": "glove",
    "identity.class": "2",
    "identity.length_mm": "356",
    "identity.serial": "KX-4471",
    "figures.max_use_v.value": "17000",
    "figures.max_use_v.source": "29 CFR 1910.137, read in the state copy WAC 296-307-38018",
    "figures.max_use_v.clause": "Table I-4",
    "figures.max_use_v.status": "read",
    "figures.seconds.value": "60",
    "figures.seconds.source": "29 CFR 1910.137; test laboratories describe one minute",
    "figures.seconds.clause": "Table I-4 note",
    "figures.seconds.status": "memory",
}


def made(**entries):
    return certificate({"test": TEST, "identity": RECEIPT, **entries})


def test_the_facts_are_these_and_no_others():
    facts = dict(made().facts)
    hashed = {name: "HASH" for name in facts if name.endswith("_hash")}
    assert facts | hashed == FACTS


def test_number_and_code_of_old_papers_stay_what_they_are():
    """Papers with this code are in drawers: where this fails, a new format is needed, beside this one."""
    assert (made().number, made().code) == ("G-00001/2", "P623-3EV4-N4EH-6XK7-DTE7-9TM9")


def test_a_correction_counts_with_its_replacement_and_names_what_it_replaces():
    correction = {
        **TEST,
        "id": "33333333-3333-4333-8333-333333333333",
        "position": 5,
        "kind": "corrected",
        "corrects": TEST["id"],
        "facts": {
            "v": 1,
            "reason": "misread",
            "replacement": {
                "kind": "tested",
                "occurred_on": "2026-09-08",
                "facts": {**TEST["facts"], "readings": {"leakage_ma": "12"}},
            },
        },
    }
    new = made(test=correction, replaces=TEST)
    assert new.number == "G-00001/5"
    assert new.facts["replaces"] == "G-00001/2"
    assert new.facts["tested_on"] == "2026-09-08"
    assert new.facts["test.readings.leakage_ma"] == "12"
    assert "test.readings.supply" not in new.facts


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "received"},
        {"facts": {}},
        {"facts": {**TEST["facts"], "pack": "us_federal 99"}},
        {"facts": {**TEST["facts"], "pack": "nonsense"}},
        {"facts": {**TEST["facts"], "judged_as": None}},
        {"subject": "set:P-0001"},
        {"subject": "site"},
    ],
)
def test_what_cannot_be_read_is_not_certified(change):
    with pytest.raises(NotCertified):
        made(test={**TEST, **change})


def test_lists_and_truth_values_are_written_in_one_way():
    value = {"a": [True, None, {"b": "x"}], "n": 3, "empty": {}, "text": "3"}
    assert check.flattened("t", value) == {
        "t.a.1": "true",
        "t.a.2": "null",
        "t.a.3.b": "x",
        "t.n": "3",
        "t.text": "3",
    }


def test_outcomes_are_counted_the_worst_first():
    def of(outcome):
        test = copy.deepcopy(TEST)
        test["facts"]["outcome"] = outcome
        return made(test=test)

    counted = tally([of(word) for word in ("accepted", "void", "accepted", "failed")])
    assert list(counted.items()) == [("failed", 1), ("void", 1), ("accepted", 2)]
