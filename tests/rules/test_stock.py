"""Label stock: labels lie on their page, nothing lies outside its label, and the square is never too small."""

from dataclasses import replace
from itertools import combinations

import pytest

from gear.rules.stock import LEAST_SQUARE_MM, STOCKS, Box, Stock

BY_NAME = pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)


def overlap(one: Box, other: Box) -> bool:
    across = min(one.x + one.width, other.x + other.width) - max(one.x, other.x)
    down = min(one.y + one.height, other.y + other.height) - max(one.y, other.y)
    return across > 1e-6 and down > 1e-6


@BY_NAME
def test_the_parts_of_a_label_lie_inside_it_and_beside_each_other(stock: Stock):
    parts = [stock.square, *(area.box for area in stock.areas)]
    for part in parts:
        assert part.x >= 0 and part.y >= 0  # noqa: PT018 - one corner
        assert part.x + part.width <= stock.label[0]
        assert part.y + part.height <= stock.label[1]
    quiet = stock.square.width * 4 / 41  # the quiet zone of a version 4 square is white anyway
    inner = Box(
        stock.square.x + quiet,
        stock.square.y + quiet,
        stock.square.width - 2 * quiet,
        stock.square.height - 2 * quiet,
    )
    for one, other in combinations([inner, *(area.box for area in stock.areas)], 2):
        assert not overlap(one, other)


@BY_NAME
def test_no_text_stands_in_the_quiet_zone(stock: Stock):
    for area in stock.areas:
        across = min(area.box.x + area.box.width, stock.square.x + stock.square.width) - max(
            area.box.x, stock.square.x
        )
        down = min(area.box.y + area.box.height, stock.square.y + stock.square.height) - max(
            area.box.y, stock.square.y
        )
        assert across <= 0 or down <= 0.11, area


@BY_NAME
def test_every_label_lies_on_its_page_and_beside_the_others(stock: Stock):
    places = [stock.place(index, start=1) for index in range(stock.per_page)]
    assert {page for page, _x, _y in places} == {0}
    boxes = [Box(x, y, *stock.label) for _page, x, y in places]
    for box in boxes:
        assert 0 <= box.x <= stock.page[0] - stock.label[0] + 0.01
        assert 0 <= box.y <= stock.page[1] - stock.label[1] + 0.01
    assert not any(overlap(one, other) for one, other in combinations(boxes, 2))


@BY_NAME
def test_the_square_is_at_least_20_mm_with_its_quiet_zone(stock: Stock):
    assert min(stock.square.width, stock.square.height) >= LEAST_SQUARE_MM
    assert stock.refusal(41) is None  # version 4: an address of 67 symbols at level Q (ISO/IEC 18004)


@pytest.mark.parametrize(
    ("start", "index", "place"),
    [
        (1, 0, (0, 0, 0)),
        (1, 29, (0, 2, 9)),
        (5, 0, (0, 1, 1)),
        (30, 0, (0, 2, 9)),
        (30, 1, (1, 0, 0)),
        (1, 60, (2, 0, 0)),
    ],
)
def test_labels_go_row_by_row_from_the_position_they_start_at(start, index, place):
    stock = STOCKS["a4_30"]
    page, x, y = stock.place(index, start=start)
    assert (page, round(x / 70), round(y / 29.7)) == place


@pytest.mark.parametrize(
    ("side", "modules", "word"),
    [
        (19.9, 21, "SQUARE_TOO_SMALL"),
        (20, 52, None),  # 20 mm / 52 = 0.385 mm: 3.03 dots at 200 dpi
        (20, 53, "MODULES_TOO_FINE"),  # 0.377 mm: 2.97 dots
    ],
)
def test_a_stock_whose_square_nobody_could_read_is_refused(side, modules, word):
    stock = replace(STOCKS["letter_30"], square=Box(1, 1, side, side))
    assert stock.refusal(modules) == word
