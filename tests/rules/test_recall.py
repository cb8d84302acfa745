"""A maker's notice: only what it names belongs, and what the record does not say is told, never guessed."""

import itertools
from datetime import date, timedelta

import pytest

from gear.rules.recall import FIELDS, Notice, missing

MARKS = {"maker": "Corran Rubber", "model": "CR-2", "lot": "7A", "made_on": date(2024, 2, 15)}
FULL = {
    "maker": "Corran Rubber",
    "model": "CR-2",
    "lot": "7A",
    "made_from": date(2024, 2, 1),
    "made_to": date(2024, 2, 29),
}
OTHER = {"maker": "Tidewall", "model": "CR-3", "lot": "7B", "made_on": date(2024, 3, 1)}
SUBSETS = [names for size in range(1, len(FIELDS) + 1) for names in itertools.combinations(FIELDS, size)]


def asking(*names):
    stated = {name: FULL[name] for name in names if name != "made_on"}
    if "made_on" in names:
        stated |= {"made_from": FULL["made_from"], "made_to": FULL["made_to"]}
    return Notice(**stated)


@pytest.mark.parametrize("asked", SUBSETS, ids="-".join)
@pytest.mark.parametrize("differing", [(), *SUBSETS], ids=lambda names: "-".join(names) or "same")
def test_a_piece_belongs_where_all_that_is_asked_agrees(asked, differing):
    marks = {**MARKS, **{name: OTHER[name] for name in differing}}
    belongs = not set(asked) & set(differing)
    assert (missing(asking(*asked), marks) == ()) is belongs
    assert (missing(asking(*asked), marks) is None) is not belongs


@pytest.mark.parametrize("asked", SUBSETS, ids="-".join)
@pytest.mark.parametrize("blank", SUBSETS, ids="-".join)
def test_a_blank_in_the_record_is_named_and_settles_nothing(asked, blank):
    marks = {**MARKS, **{name: None if name == "made_on" else "" for name in blank}}
    lacking = tuple(name for name in FIELDS if name in asked and name in blank)
    assert missing(asking(*asked), marks) == lacking
    for unstated in ("maker", "model", "lot"):
        differs = {**marks, unstated: OTHER[unstated]}
        if unstated in asked:
            assert missing(asking(*asked), differs) is None


@pytest.mark.parametrize("ticked", [(), *SUBSETS], ids=lambda names: "-".join(names) or "none")
@pytest.mark.parametrize("lacking", [(), *SUBSETS], ids=lambda names: "-".join(names) or "nothing")
def test_what_lacks_only_ticked_fields_is_included(ticked, lacking):
    notice = Notice(lot="7A", without=frozenset(ticked))
    assert notice.includes(lacking) is all(name in ticked for name in lacking)


@pytest.mark.parametrize(
    ("made_on", "belongs"),
    [
        (FULL["made_from"] - timedelta(days=1), False),
        (FULL["made_from"], True),
        (FULL["made_to"], True),
        (FULL["made_to"] + timedelta(days=1), False),
    ],
)
def test_both_days_of_manufacture_count(made_on, belongs):
    assert (missing(asking("made_on"), {**MARKS, "made_on": made_on}) == ()) is belongs


@pytest.mark.parametrize(
    ("limits", "belongs"),
    [
        ({"made_from": date(2024, 2, 15)}, True),
        ({"made_from": date(2024, 2, 16)}, False),
        ({"made_to": date(2024, 2, 15)}, True),
        ({"made_to": date(2024, 2, 14)}, False),
    ],
)
def test_a_range_may_be_open_at_either_end(limits, belongs):
    assert (missing(Notice(**limits), MARKS) == ()) is belongs


@pytest.mark.parametrize("spelled", ["corran rubber", " CORRAN  RUBBER ", "Ｃorran Rubber"])
def test_capitals_blanks_and_the_width_of_letters_make_no_difference(spelled):
    assert missing(Notice(maker=spelled), MARKS) == ()
    assert missing(Notice(maker="Corran Rubber"), {**MARKS, "maker": spelled}) == ()


def test_a_part_of_a_name_is_not_the_name():
    assert missing(Notice(lot="7"), MARKS) is None
    assert missing(Notice(lot="7A"), {**MARKS, "lot": "7A-2"}) is None


def test_a_lot_is_compared_as_it_stands_however_blank_it_looks():
    assert missing(Notice(lot="7A"), {**MARKS, "lot": "  "}) == ("lot",)


@pytest.mark.parametrize("notice", [Notice(), Notice(maker=" "), Notice(without=frozenset({"lot"}))])
def test_a_notice_that_names_nothing_would_be_of_everything_and_is_refused(notice):
    with pytest.raises(ValueError, match="names a maker"):
        missing(notice, MARKS)
