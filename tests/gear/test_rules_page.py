"""Rules in force: every figure that decides stands on the page with its source, and says where it is not sure."""

import html
import re

import pytest

from gear import queries
from gear.ledger import Draft, record
from gear.rules.packs import Figure, load
from gear.rules.readiness import GOOD
from gear.views.rules import laid_out, letters
from tests import builders

pytestmark = pytest.mark.django_db
PACK = load("us_federal")
CONFIRM = "confirm against your own copy of the standard"


@pytest.fixture
def halvard(client, cast):
    client.force_login(cast.halvard)
    return client


def text_of(response) -> str:
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split()))


def adopt(cast, *, name="us_federal", sha256=PACK.sha256, effective_from="2026-07-01"):
    facts = {
        "name": name,
        "version": "1",
        "sha256": sha256,
        "effective_from": effective_from,
        "reason": "a test",
    }
    record(Draft(None, "pack_adopted", facts), by=cast.ines, via="web")


@pytest.mark.parametrize("table", PACK.tables(), ids=lambda table: table.name)
def test_no_figure_lacks_its_source_or_its_flag(table):
    shown = laid_out(table)
    figures = [value for row in table.rows for value in row if isinstance(value, Figure)]
    cells = [cell for row in shown.rows for cell in row if cell.mark]
    assert len(cells) == len(figures)
    notes = {note.mark: note for note in shown.notes}
    for cell in cells:
        assert notes[cell.mark].source
        assert cell.confirm == notes[cell.mark].confirm
    assert sum(cell.confirm for cell in cells) == sum(figure.confirm for figure in figures)


def test_the_page_shows_pack_hash_policy_and_every_table(halvard):
    text = text_of(halvard.get("/rules/"))
    assert "us_federal 1" in text
    assert PACK.sha256 in text
    assert "common practice, no source" in text
    assert "test interval 12 months" in text
    for table in PACK.tables():
        assert table.title in text
    assert CONFIRM in text


@pytest.mark.parametrize(
    "row",
    [
        # 29 CFR 1910.137 Table I-4, maximum use; Table I-1, current by length; ASTM F855 Table 1, grade 5
        r"2 17,000 b",
        r"2 – \*b 16 \*b 18 \*b 20 \*b",
        r"5 4/0 \*a none \*a 43 \*a 30 \*a 59 \*a 42 \*a 29 \*a",
    ],
)
def test_rows_can_be_compared_with_the_standard(halvard, row):
    assert re.search(row, text_of(halvard.get("/rules/")))


def test_another_day_may_have_other_rules(halvard, cast):
    thirty = load("thirty_day_gloves")
    adopt(cast, name="thirty_day_gloves", sha256=thirty.sha256)
    assert "us_federal 1" in text_of(halvard.get("/rules/?as_of=2026-06-30"))
    text = text_of(halvard.get("/rules/?as_of=2026-07-01"))
    assert "thirty_day_gloves 1" in text
    assert thirty.sha256 in text
    assert "30 days" in text


def test_an_altered_pack_is_told_on_a_banner_and_no_figure_is_shown(halvard, cast):
    builders.tested(builders.blanket("B-1"), on=builders.today())
    adopt(cast, sha256="0" * 64, effective_from="2020-01-01")
    text = text_of(halvard.get("/rules/"))
    assert "every answer is CAN'T SAY. DO NOT USE" in text
    assert "not the file that was adopted" in text
    assert "Proof test" not in text
    assert queries.answer("B-1", queries.question()).verdict != GOOD


@pytest.mark.parametrize("day", ["soon", "2026-02-30", "2026-10-02T05:45"])
def test_a_day_that_cannot_be_read_shows_no_rules(halvard, day):
    response = halvard.get("/rules/", {"as_of": day})
    assert response.status_code == 400
    assert "us_federal" not in text_of(response)


@pytest.mark.parametrize("name", ["orla", "dev", "bertrand", "ines", "halvard", "pim"])
def test_everybody_who_has_signed_in_may_read_them(client, cast, name):
    client.force_login(getattr(cast, name))
    assert client.get("/rules/").status_code == 200


def test_visitors_sign_in_first(client):
    assert client.get("/rules/").status_code == 302


@pytest.mark.parametrize(("place", "mark"), [(0, "a"), (25, "z"), (26, "aa"), (52, "ba")])
def test_notes_are_lettered(place, mark):
    assert letters(place) == mark
