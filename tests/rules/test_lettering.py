"""Text on a label is never wider or taller than its box, and never too small to read."""

import string
from pathlib import Path

import pytest
from PIL import ImageFont

from gear.rules import lettering
from gear.rules.lettering import LEAST_PT, DoesNotFit, Line, fit, width_em
from gear.rules.stock import Box

FONTS = Path("/usr/share/fonts/truetype/dejavu")  # apt: fonts-dejavu-core, which the PDFs are set in
PRINTABLE = string.ascii_letters + string.digits + string.punctuation + " "


@pytest.mark.parametrize(("file", "bold"), [("DejaVuSans-Bold.ttf", True), ("DejaVuSans.ttf", False)])
def test_no_letter_of_the_font_is_wider_than_is_counted_for_it(file, bold):
    font = ImageFont.truetype(str(FONTS / file), 2048)
    for symbol in PRINTABLE:
        assert font.getlength(symbol) / 2048 <= width_em(symbol, bold=bold) + 1e-9, symbol


def test_letters_of_one_width_are_counted_as_the_font_has_them():
    font = ImageFont.truetype(str(FONTS / "DejaVuSansMono-Bold.ttf"), 2048)
    assert max(font.getlength(symbol) / 2048 for symbol in PRINTABLE) <= lettering.MONO_EM


@pytest.mark.parametrize(
    ("texts", "box"),
    [
        (["G-01234"], Box(1, 2, 40, 10)),
        (["G-01234", "Glove, left", "Class 2, yellow"], Box(0, 0, 20, 8)),
        (["A" * 20, "size extra large long, 1,200 mm (47.2 in)"], Box(0, 0, 31, 20)),
    ],
)
def test_lines_stay_inside_their_box_and_do_not_overlap(texts, box):
    placed = fit([Line("x", text, 11, bold=True) for text in texts], box)
    assert "".join(one.line.text for one in placed).replace(" ", "") == "".join(texts).replace(" ", "")
    bottom = box.y
    for one in placed:
        assert one.y >= bottom - 1e-9
        bottom = one.y + one.height
        assert one.points * lettering.MM_PER_POINT * one.line.em <= box.width + 1e-9
        assert LEAST_PT <= one.points <= 11
    assert bottom <= box.y + box.height + 1e-9


def test_a_long_line_is_broken_where_it_reads_best():
    placed = fit([Line("set", "SUBSTATION-UPPER-CLAY-022: 12 of 12", 6.5)], Box(0, 0, 34, 20))
    assert [one.line.text for one in placed] == ["SUBSTATION-UPPER-CLAY-022:", "12 of 12"]
    assert len({one.points for one in placed}) == 1


def test_a_code_is_never_broken():
    (one,) = fit([Line("code", "346H-79AC-DEF", 8, bold=True, mono=True)], Box(0, 0, 14, 5))
    assert one.line.text == "346H-79AC-DEF"


@pytest.mark.parametrize(
    ("texts", "box"),
    [(["W" * 60], Box(0, 0, 20, 20)), (["one", "two", "three", "four"], Box(0, 0, 40, 4))],
)
def test_what_would_be_too_small_to_read_is_refused(texts, box):
    with pytest.raises(DoesNotFit):
        fit([Line("x", text, 8) for text in texts], box)
