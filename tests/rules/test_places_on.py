"""Places on a piece: codes that an entry keeps, and drawings that offer every one. Common practice, no source."""

import re

import pytest

from gear.queries import look_words
from gear.rules import checklists, drawings, places_on
from gear.rules.readiness import KINDS

WITHOUT_DRAWING = {"live_line_tool", "voltage_detector"}


@pytest.mark.parametrize(
    ("kind", "parts", "sides"),
    [
        ("glove", "finger_1 finger_2 finger_3 finger_4 finger_5 crotch palm cuff back", "outside inside"),
        ("sleeve", "shoulder strap upper_arm elbow forearm wrist", "outside inside"),
        ("blanket", " ".join(f"square_{number}" for number in range(1, 10)), "face_a face_b"),
        ("line_hose", "end mid lip bore", ""),
        ("hood", "crown flange eye lip", "outside inside"),
        ("rigid_cover", "end mid lip latch", "outside inside"),
        ("grounding_jumper", "clamp_a ferrule_a cable ferrule_b clamp_b", ""),
        ("voltage_detector", "", ""),
        (None, "", ""),
    ],
)
def test_the_places_of_a_kind(kind, parts, sides):
    assert places_on.parts_of(kind) == tuple(parts.split())
    assert places_on.sides_of(kind) == tuple(sides.split())


def test_every_kind_has_a_drawing_but_tools_and_detectors():
    assert set(KINDS) - set(places_on.PARTS) == WITHOUT_DRAWING


@pytest.mark.parametrize(
    ("kind", "parts", "side", "code"),
    [
        ("glove", ["palm", "finger_3"], "outside", "outside:finger_3,palm"),
        ("glove", ["palm"], "", "palm"),
        ("glove", ["palm", "palm"], "", "palm"),
        ("glove", [], "inside", ""),  # a side alone is no place
        ("blanket", ["square_9", "square_1"], "face_b", "face_b:square_1,square_9"),
        ("line_hose", ["bore"], "", "bore"),
    ],
)
def test_a_place_has_one_code_and_is_read_back(kind, parts, side, code):
    assert places_on.place(kind, parts, side=side) == code
    if code:
        assert places_on.read(kind, code) == (
            side,
            tuple(part for part in places_on.parts_of(kind) if part in parts),
        )


@pytest.mark.parametrize(
    ("kind", "parts", "side"),
    [
        ("glove", ["bore"], ""),
        ("line_hose", ["end"], "outside"),
        ("blanket", ["square_10"], ""),
        ("voltage_detector", ["end"], ""),
        (None, ["palm"], ""),
    ],
)
def test_what_a_kind_does_not_have_is_no_place(kind, parts, side):
    with pytest.raises(ValueError, match="no such place"):
        places_on.place(kind, parts, side=side)


@pytest.mark.parametrize(
    "code",
    [
        "",
        ":palm",
        "palm,finger_3",
        "outside:",
        "outside:palm,",
        "palm,palm",
        "upside:palm",
        "a:b:palm",
        "PALM",
    ],
)
def test_only_a_code_as_it_is_written_is_read(code):
    with pytest.raises(ValueError, match="place"):
        places_on.read("glove", code)


@pytest.mark.parametrize("kind", places_on.PARTS)
def test_a_drawing_offers_every_place_inside_its_box(kind):
    drawing = drawings.drawing_of(kind)
    assert tuple(part.code for part in drawing.parts) == places_on.parts_of(kind)
    for part in drawing.parts:
        assert re.fullmatch(r"[Mm0-9 .,hvlqQtTazZHVLA-]+", part.path), part.code
        assert part.spots
        for x, y in part.spots:
            assert 11 <= x <= drawing.width - 11, part.code
            assert 11 <= y <= drawing.height - 11, part.code


@pytest.mark.parametrize("kind", places_on.PARTS)
def test_no_two_parts_share_a_shape_or_a_spot(kind):
    parts = drawings.drawing_of(kind).parts
    spots = [spot for part in parts for spot in part.spots]
    assert len({part.path for part in parts}) == len(parts)
    assert len(set(spots)) == len(spots)


@pytest.mark.parametrize("kind", sorted({*WITHOUT_DRAWING, "unheard_of"}))
def test_a_kind_without_places_has_no_drawing(kind):
    assert drawings.drawing_of(kind) is None


def test_a_right_glove_is_the_left_one_turned_over_with_the_same_numbers():
    left, right = (drawings.drawing_of("glove", hand=hand) for hand in "LR")
    assert not left.mirrored
    assert right.mirrored
    for one, other in zip(left.parts, right.parts, strict=True):
        assert one.code == other.code
        assert other.spots == tuple((left.width - x, y) for x, y in one.spots)


def test_what_has_no_hand_is_not_turned_over():
    assert not drawings.drawing_of("blanket", hand="R").mirrored


def test_every_part_side_and_caption_has_a_word():
    parts = {part for parts in places_on.PARTS.values() for part in parts}
    sides = {side for sides in places_on.SIDES.values() for side in sides}
    captions = {code for kind in places_on.PARTS for _x, _y, code in drawings.drawing_of(kind).captions}
    assert set(look_words.PARTS) == parts
    assert set(look_words.SIDES) == sides
    assert set(look_words.CAPTIONS) == captions


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_a_checklist_of_at_most_six_lines(kind):
    lines = checklists.lines_of(kind)
    assert 1 <= len(lines) <= checklists.MOST == 6
    assert len({line.code for line in lines}) == len(lines)
    assert all(line.code in look_words.CHECKS and line.source for line in lines)


def test_the_air_test_of_a_glove_comes_first_and_is_asked_for_by_regulation():
    first = checklists.lines_of("glove")[0]
    assert (first.code, first.source) == ("air_test", "29 CFR 1910.137(c)(2)(ii)")


def test_every_line_that_has_words_is_on_a_checklist():
    listed = {line.code for lines in checklists.CHECKLISTS.values() for line in lines}
    assert listed == set(look_words.CHECKS)


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("outside:finger_3,palm", "finger 3, palm (outside)"),
        ("square_5", "square 5, the middle"),
        ("under the bed", "under the bed"),  # whatever a later program writes is shown as it stands
    ],
)
def test_a_place_in_words(code, words):
    assert look_words.place_words(code) == words


def test_only_what_is_marked_is_drawn_dark():
    shown = look_words.drawn("glove", hand="L", place="outside:finger_3")
    assert [part.number for part in shown.parts if part.marked] == [3]
    assert shown.words == "finger 3 (outside)"
