"""Every kind of entry has words, and what no words are known for is shown as it stands, never left out."""

import random

import pytest

from gear.queries import entry_words
from gear.rules import codes
from gear.rules.entries import SCHEMA

CODE = codes.new_code(random.Random(3))
FACTS = {
    "received": {
        "holder": {"kind": "shelf", "name": "A-3", "crew": None, "depot": "Harbour"},
        "date_stated": False,
        "identity": {
            "kind": "blanket",
            "class": "2",
            "lot": "L-9",
            "made_on": "2024-01-01",
            "marked_expiry_on": "2027-01-01",
        },
    },
    "issued": {
        "holder": {"kind": "person", "name": "Dev", "crew": "Crew 7", "depot": None},
        "first_issue_known": False,
    },
    "moved": {"holder": {"kind": "truck", "name": "T-07", "crew": "Crew 7", "depot": None}},
    "handed_back": {"note": "all there"},
    "returned": {
        "holder": {"kind": "crew", "name": "Crew 7", "crew": "Crew 7", "depot": None},
        "note": "wet",
    },
    "tested": {
        "outcome": "failed",
        "purpose": "in_service",
        "pack": "us_federal 1",
        "judged_as": {},
        "readings": {"resistance_mohm": "1.25", "cable_temp_c": "35", "odd": "x"},
        "codes": [{"code": "BREAKDOWN"}],
    },
    "inspected": {"outcome": "test", "scope": "pre_use", "words": ["nick"], "place": "palm"},
    "event": {"event": "flash_or_contact", "note": "pole 12"},
    "held": {"reason": "odd smell"},
    "released": {"hold": "x", "reason": "washed"},
    "rejected": {"reason": "cut"},
    "destroyed": {"reason": "cut up", "witness": "ines"},
    "lost": {"reason": "storm"},
    "found": {"note": "behind the seat"},
    "needs_cleaning": {"reason": "oil"},
    "sent_for_test": {"reason": "due"},
    "sent_for_repair": {"reason": "eyelet"},
    "joined_set": {"set_no": "P-7"},
    "left_set": {"set_no": "P-7", "reason": "mate lost"},
    "labelled": {"code": CODE, "replaces": CODE, "reason": "worn"},
    "noted": {"note": "hello"},
}
SAID = {
    "received": ["Blanket, class 2", "L-9", "2024-01-01", "2027-01-01", "Shelf A-3", "not stated"],
    "issued": ["Dev, Crew 7", "since when is not known"],
    "moved": ["Truck T-07, Crew 7"],
    "returned": ["Crew 7", "wet"],
    "tested": ["Failed", "breakdown", "in service", "us_federal 1", "1.25 mΩ", "35 °C", "x"],
    "inspected": ["in doubt: test it", "before use", "nick", "palm"],
    "event": ["flash or contact", "pole 12"],
    "released": ["washed"],
    "destroyed": ["cut up", "ines"],
    "labelled": [codes.grouped(CODE), "worn"],
}


@pytest.mark.parametrize("kind", [kind for kind, (subject, *_facts) in SCHEMA.items() if subject == "item"])
def test_every_kind_of_entry_is_told_in_words(kind):
    assert entry_words.title(kind) != kind
    told = " ".join(value for _name, value in entry_words.says(kind, {"v": 1, **FACTS[kind]}))
    for words in SAID.get(kind, [value for value in FACTS[kind].values() if isinstance(value, str)]):
        assert words in told


@pytest.mark.parametrize(
    ("kind", "facts"),
    [
        ("tested", {}),
        ("tested", []),
        ("received", {"identity": 7}),
        ("unheard_of", {"v": 9, "secret": "kept"}),
        ("held", "text"),
        (
            "tested",
            {
                "outcome": "accepted",
                "purpose": "first",
                "pack": "p",
                "readings": {"applied_v": "x"},
                "limit": 3,
                "codes": 4,
            },
        ),
    ],
)
def test_what_no_words_are_known_for_is_shown_as_it_stands(kind, facts):
    told = entry_words.says(kind, facts)
    assert told
    if kind == "unheard_of":
        assert ("secret", "kept") in told


@pytest.mark.parametrize(
    ("holder", "words"),
    [
        ({"kind": "person", "name": "Dev", "crew": "Crew 7"}, "Dev, Crew 7"),
        ({"kind": "truck", "name": "T-07"}, "Truck T-07"),
        ({"kind": "truck", "name": "Truck 7", "crew": "Crew 7"}, "Truck 7, Crew 7"),
        ({"kind": "crew", "name": "Crew 7", "crew": "Crew 7"}, "Crew cage Crew 7"),
    ],
)
def test_a_holder_is_named_once(holder, words):
    assert entry_words.holder_word(holder) == words
