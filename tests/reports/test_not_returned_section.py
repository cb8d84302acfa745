"""Old pairs not returned on the Monday report: on page and paper, for whom they concern, and in no JSON."""

import io
import json
import re
from datetime import timedelta

import pypdf
import pytest
from django.core.management import call_command
from django.urls import reverse

from gear.actions.acting import Act
from gear.actions.exchange import Exchange, exchange
from gear.queries import question
from gear.queries.not_returned import not_returned
from gear.queries.pairs import pair_with
from reports.wording.not_returned import MOST, tell_not_returned
from tests import builders
from tests.gear.test_exchange import good_pair, worn_pair

pytestmark = pytest.mark.django_db


@pytest.fixture
def kept(cast):
    """Dev of crew 7 kept the old pair, and so did Rasmus of crew 21 at Upper Clay."""
    cast.crew.phone = "555-0107"
    cast.crew.save()
    clay = builders.depot("Upper Clay")
    far = builders.holder("person", "Rasmus", crew=builders.crew("Crew 21", of=clay), depot=clay)
    cast.old = keep(cast, builders.holder("person", "Dev", person=cast.dev))
    cast.far_old = keep(cast, far)
    return cast


def keep(cast, person):
    old, new = worn_pair(person), good_pair()
    days = pair_with(new[0], question()).days
    exchange(Exchange(person, new[0], tuple(old), None, days), act=Act(cast.orla))
    return old


def section(client, person, query=""):
    client.force_login(person)
    html = client.get(reverse("overdue_report") + query).content.decode()
    found = re.search(r'<section id="not-returned".*?</section>', html, re.S)[0]
    return " ".join(re.sub(r"<[^>]+>", " ", found).split())


def test_the_page_names_each_with_whom_to_call(client, kept):
    words = section(client, kept.ines)
    assert "Old pairs not returned: 2" in words
    assert kept.old[0].item_no in words
    assert "Call bertrand: 555-0107" in words
    assert "Rasmus" in words


def test_a_foreman_and_somebody_bound_to_a_depot_see_their_own(client, kept):
    assert "Rasmus" not in section(client, kept.bertrand)
    kept.ines.depot = kept.depot
    kept.ines.save()
    words = section(client, kept.ines)
    assert "Dev" in words
    assert "Rasmus" not in words


def test_before_the_exchange_nothing_was_owed(client, kept):
    yesterday = builders.today() - timedelta(days=1)
    words = section(client, kept.ines, f"?as_of={yesterday.isoformat()}")
    assert "Every old pair that was replaced is back." in words


def test_paper_has_the_section_and_json_has_not(client, kept):
    client.force_login(kept.ines)
    paper = client.get(reverse("overdue_report_pdf")).content
    words = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(paper)).pages)
    assert "Old pairs not returned: 2" in " ".join(words.split())
    assert set(client.get(reverse("api_overdue")).json()) == {
        "as_of", "rule_pack", "totals", "usable_now", "off_the_road", "due_soon",
    }  # fmt: skip


def test_the_command_prints_it_on_html_and_not_in_json(kept, tmp_path):
    for form, there in (("html", True), ("json", False)):
        target = tmp_path / f"report.{form}"
        call_command("overdue_report", "--format", form, "-o", str(target))
        assert ("Old pairs not returned" in target.read_text()) is there
    assert "not_returned" not in json.loads((tmp_path / "report.json").read_text())


def test_a_long_list_is_cut_and_says_so_while_the_count_is_whole(kept):
    rows = not_returned(question())[:1] * (MOST + 3)
    told = tell_not_returned(rows, phones={})
    assert (told.count, len(told.rows)) == (MOST + 3, MOST)
    assert told.cut == f"Only the first {MOST} of {MOST + 3} are shown here."
