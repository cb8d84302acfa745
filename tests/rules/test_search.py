"""What the words of the trade mean. The voltages are those of 29 CFR 1910.137 in the pack, named beside each case."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules.packs import RUBBER_KINDS, load
from gear.rules.search import KIND_WORDS, MOST_WORDS, Query, parse

PACK = load("us_federal")


def meant(text: str) -> dict:
    """What was understood, without what was not asked."""
    read, nothing = parse(text, pack=PACK), Query()
    return {name: value for name, value in vars(read).items() if value != getattr(nothing, name)}


def kv(value: str, cls: str | None = None, by: str = "", kinds: tuple = ()) -> dict:
    told = {"kv": Decimal(value), "kv_class": cls, "kv_by": by, "kinds": kinds}
    return {name: value for name, value in told.items() if value not in (None, "", ())}


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # a glove is named by its proof test: class 2, tested at 20 kV, used at 17 kV at most
        ("20 kV glove", kv("20", "2", "proof", ("glove",))),
        ("20kv gloves", kv("20", "2", "proof", ("glove",))),
        ("gloves 20-kV", kv("20", "2", "proof", ("glove",))),
        ("2.5 kV glove", kv("2.5", "00", "proof", ("glove",))),
        ("2,5 kV glove", kv("2.5", "00", "proof", ("glove",))),
        ("40 kV sleeves", kv("40", "4", "proof", ("sleeve",))),
        # soft cover by its use: class 4, 36 kV phase to phase
        ("36 kV blanket", kv("36", "4", "use", ("blanket",))),
        ("26.5 kV line hose", kv("26.5", "3", "use", ("line_hose",))),
        ("17 kV glove", kv("17", "2", "use", ("glove",))),
        ("17,000 V glove", kv("17", "2", "use", ("glove",))),
        ("500 volt glove", kv("0.5", "00", "use", ("glove",))),
        # without a kind: any rubber goods
        ("20 kV", kv("20", "2", "proof", RUBBER_KINDS)),
        # tied to no class
        ("46 kV hard cover", kv("46", kinds=("rigid_cover",))),
        ("19 kV glove", kv("19", kinds=("glove",))),
    ],
)
def test_a_voltage_names_a_class(text, expected):
    assert meant(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("class 2", {"cls": "2"}),
        ("Class 00 gloves", {"cls": "00", "kinds": ("glove",)}),
        ("cl. 3", {"cls": "3"}),
        ("class2", {"cls": "2"}),
        ("size 10 class 2", {"cls": "2", "size": "10"}),
        ("sz 9.5", {"size": "9.5"}),
        ("size 10.0", {"size": "10"}),
        ("class 2 10 14in", {"cls": "2", "size": "10", "length_mm": (354, 361)}),
        ('class 2 14" left', {"cls": "2", "length_mm": (354, 361), "hand": "L"}),
        ("gloves 10", {"kinds": ("glove",), "size": "10"}),
        ("20 kV 10", {**kv("20", "2", "proof", RUBBER_KINDS), "size": "10"}),
        ("20 kV glove 10", {**kv("20", "2", "proof", ("glove",)), "size": "10"}),
        ("right sleeve type II", {"hand": "R", "kinds": ("sleeve",), "type": "II"}),
        ("360 mm", {"length_mm": (360, 360)}),
        ("36x36 blanket", {"kinds": ("blanket",), "size": "36 x 36"}),
        ("36 X 36 in blanket", {"kinds": ("blanket",), "size": "36 x 36"}),
    ],
)
def test_class_size_and_length(text, expected):
    assert meant(text) == expected


@pytest.mark.parametrize(
    ("inches", "marked_mm"),
    # older and newer prints of Table I-1: 267/280 is 10.5 and 11 in, 356/360, 406/410, 456 to 460
    [
        ("10.5", 267),
        ("11", 280),
        ("14", 356),
        ("14", 360),
        ("16", 406),
        ("16", 410),
        ("18", 456),
        ("18", 460),
    ],
)
def test_a_nominal_length_finds_what_is_marked(inches, marked_mm):
    low, high = parse(f"{inches} in", pack=PACK).length_mm
    assert low <= marked_mm <= high


@pytest.mark.parametrize(
    ("text", "size", "feet_mm"),
    [
        ("2/0 jumper 10 ft", "2/0", 3048),
        ("#2 grounds 6'", "#2", 1829),
        ("250kcmil jumper 3 m", "250 kcmil", 3000),
    ],
)
def test_a_jumper_is_named_by_cable_and_length(text, size, feet_mm):
    read = parse(text, pack=PACK)
    assert (read.kinds, read.cable_size) == (("grounding_jumper",), size)
    assert read.cable_mm[0] <= feet_mm <= read.cable_mm[1]
    assert read.words == ()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("lost", {"conditions": {"lost"}}),
        ("held gloves", {"conditions": {"held"}, "kinds": ("glove",)}),
        ("on hold", {"conditions": {"held"}}),
        ("out for test", {"conditions": {"out_for_test"}}),
        ("overdue", {"standings": {"overdue"}}),
        ("out of date", {"standings": {"overdue"}}),
        ("due soon", {"standings": {"due_soon"}}),
        ("odd gloves size 10", {"standings": {"incomplete"}, "kinds": ("glove",), "size": "10"}),
        ("failed and lost", {"standings": {"failed"}, "conditions": {"lost"}}),
        ("crew 7", {"crew": "7"}),
        ("truck T-07", {"truck": "T-07", "holder_kinds": ("truck",)}),
        ("gloves on a shelf", {"kinds": ("glove",), "holder_kinds": ("shelf",)}),
        ("blankets at the lab", {"kinds": ("blanket",), "holder_kinds": ("lab",)}),
    ],
)
def test_condition_answer_and_place(text, expected):
    assert meant(text) == expected


@pytest.mark.parametrize(
    "text",
    ["G-01234", "T-07", "P-0617", "88123", "10", "Marisol", "kv", "classy", "GL-2/0-7", "hold-7", "Northbay"],
)
def test_numbers_and_names_are_looked_for_as_they_are(text):
    assert meant(text) == {"words": (text,)}


def test_words_in_quotes_stay_together():
    assert meant('"Dev Okafor" gloves') == {"words": ("Dev Okafor",), "kinds": ("glove",)}
    assert meant('"lost"') == {"words": ("lost",)}


@pytest.mark.parametrize(("text", "kinds"), KIND_WORDS.items())
def test_every_kind_word_is_read_whole(text, kinds):
    assert meant(text.upper()) == {"kinds": kinds}


@pytest.mark.parametrize("text", ["", "   ", "\u202e\x00", "the of and"])
def test_nothing_asked_is_nothing(text):
    assert parse(text, pack=PACK).empty


def test_without_rules_a_voltage_names_no_class():
    read = parse("20 kV glove", pack=None)
    assert (read.kv, read.kv_class, read.kinds) == (Decimal("20"), None, ("glove",))


@given(st.text(max_size=300))
def test_any_text_can_be_read(text):
    read = parse(text, pack=PACK)
    assert len(read.words) <= MOST_WORDS
    assert all(word.isprintable() and word for word in read.words)


@given(
    st.lists(
        st.sampled_from(
            ["20 kV", "class 2", "size 10", "14 in", '"', "'", "2/0", "lost", "9", ",", "36x36", "10 ft"]
        ),
        max_size=12,
    )
)
def test_any_mixture_can_be_read(parts):
    assert isinstance(parse(" ".join(parts), pack=PACK), Query)
