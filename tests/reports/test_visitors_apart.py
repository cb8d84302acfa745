"""Visitors' gear is judged like ours and counted apart: no figure of ours changes with it, and none of it is hidden."""

import csv
import io
import json

import pytest
from django.core.management import call_command

from gear import queries as gear_queries
from gear.actions.acting import Act
from gear.queries.pairs import odd_pieces, on_shelves
from gear.queries.tally import tally
from gear.rules.blocks import GOOD
from inspections.actions import leaving
from reports import queries
from reports.queries.particulars import lacks
from reports.rules.overdue import Scope
from reports.spreadsheets import csv_lines
from reports.wording import as_json
from tests import builders
from tests.inspections import visiting

pytestmark = pytest.mark.django_db


def report(scope=None):
    return queries.overdue_report(gear_queries.question(), scope=scope or Scope())


def figures():
    """Every count and list of our own gear that people read."""
    asked = gear_queries.question()
    found, counted = report(), tally(asked)
    told = {name: value for name, value in as_json(found).items() if name != "visitors"}
    own_lines = [line for line in csv_lines(found) if not line.startswith("visitors_")]
    return {
        "report": told,
        "counts": found.counts,
        "csv": own_lines,
        "tally": (counted.in_book, counted.danger, counted.soon),
        "lacks": lacks().counts,
        "looked at": lacks().looked_at,
        "change-out": queries.change_out_list(asked, scope=Scope(), within=28),
        "offered": {piece.item_no for pair in on_shelves(asked) for piece in pair.pieces},
        "odd": {odd.facts.item_no for odd in odd_pieces(asked)},
    }


def test_our_own_figures_are_the_same_with_visitors_and_without(cast):
    dev = builders.holder("person", "Dev")
    left, right = builders.pair()
    builders.tested(left, right)
    builders.issued(left, right, to=dev)
    builders.issued(builders.glove("G-90001"), to=dev)
    builders.glove("G-90002")
    before = figures()
    assert len(before["report"]["usable_now"]) == 1
    one = visiting.checked_in(cast.orla, visiting.row(1), visiting.row(2, number="", number_right=""))
    after = figures()
    assert after == before
    theirs = as_json(report())["visitors"]
    assert theirs["totals"]["items_in_book"] == 4
    assert [line["item_no"] for line in theirs["usable_now"]] == ["V-00003", "V-00004"]
    assert {line["owner"] for line in theirs["usable_now"]} == {"Harrow Bay"}
    assert tally(gear_queries.question()).visitors == 2
    # Back on a shelf of ours, a visitor's good pair is still nobody else's.
    for item in (piece.item for piece in one.pieces.filter(person="Visitor 1")):
        builders.happened(item, "returned", holder=builders.holder("shelf").as_fact())
    assert figures() == before


def test_without_visitors_the_interface_has_its_own_keys_and_no_more(cast):
    builders.glove()
    assert set(as_json(report())) == {
        "as_of",
        "rule_pack",
        "totals",
        "usable_now",
        "off_the_road",
        "due_soon",
    }


def test_what_visitors_must_not_use_stands_on_page_one_under_their_name(cast, client):
    visiting.checked_in(cast.orla, visiting.row(1), papers=())
    client.force_login(cast.ines)
    page = client.get("/reports/overdue/").content.decode()
    section = page[page.index('id="visitors"') : page.index('id="due-soon"')]
    assert "V-00001" in section
    assert "Harrow Bay" in section
    assert "V-00001" not in page[page.index('id="usable-now"') : page.index('id="visitors"')]
    lines = list(csv.DictReader(io.StringIO("".join(csv_lines(report())))))
    assert [line["item_no"] for line in lines if line["list"] == "visitors_usable_now"] == [
        "V-00001",
        "V-00002",
    ]


def test_what_went_home_is_counted_and_in_nobodys_hands(cast, capsys):
    one = visiting.checked_in(cast.orla, papers=())
    leaving.hand_back(one.number, ["V-00001", "V-00002"], act=Act(cast.orla))
    call_command("overdue_report")
    theirs = json.loads(capsys.readouterr().out)["visitors"]
    assert (theirs["totals"]["items_in_book"], theirs["usable_now"], theirs["off_the_road"]) == (2, [], [])
    assert report().visitors.gone == 2


def test_a_lost_piece_of_a_visitor_stays_on_their_list(cast):
    one = visiting.checked_in(cast.orla)
    leaving.missing(one.number, ["V-00001", "V-00002"], reason="not in the bag", act=Act(cast.orla))
    found = report().visitors
    assert {line.verdict for line in found.usable_now} == {"stop"}
    assert (len(found.usable_now), found.totals["lost"], found.good) == (2, 2, 0)
    assert GOOD not in {line.verdict for line in (*found.usable_now, *found.off_the_road)}
