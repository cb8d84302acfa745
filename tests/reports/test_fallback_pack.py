"""`manage.py fallback_pack`: a PDF for each truck, whole or not at all, for a day from today on."""

import io
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.urls import reverse

from gear.pdf import NotSet
from reports.management.commands import fallback_pack as command
from reports.pdf.loadsheet import fallback_pack_html
from reports.views.loadsheet import pack_of
from tests import builders
from tests.inspections.walking import gear_of_twelve, truck
from tests.reports.papers import words_of

pytestmark = pytest.mark.django_db


def told(folder, *options):
    out = io.StringIO()
    call_command("fallback_pack", "-o", str(folder), *options, stdout=out)
    return out.getvalue()


def refusal(folder, *options):
    with pytest.raises(CommandError) as refused:
        told(folder, *options)
    return str(refused.value), refused.value.returncode


@pytest.fixture
def unset(monkeypatch):
    """Typesetting takes a second; what is asked here is which files come to be."""
    monkeypatch.setattr(
        command, "fallback_pack_pdf", lambda trucks, paper: b"%PDF-" + trucks[0].truck.encode()
    )


def test_the_pack_holds_what_a_crew_needs_without_network(cast, tmp_path):
    gear_of_twelve(2)
    builders.blanket("B-9", at=truck(), label="ABCDEFGHJKM")
    assert "1 pack written" in told(tmp_path, "--truck", "T-12")
    (file,) = tmp_path.iterdir()
    assert file.name == f"fallback-T-12-{builders.today()}.pdf"
    words = words_of(file.read_bytes())
    for wanted in (
        "Fallback pack, Truck T-12",
        "Use this when neither phone nor network can be had.",
        "ABCD-EFGH-JKM",
        "17,000 V",
        "must not be used B-9",
        "New, not tested.",
        "written by hand",
        "Damage: take the piece out of use at once",
        "Page 1 of",
    ):
        assert wanted in words


def test_every_truck_in_use_has_a_file_of_its_own(cast, tmp_path, unset):
    for name in ("T-12", "T-19"):
        truck(name)
    builders.holder("truck", "T-20", active=False)
    day = builders.today() + timedelta(days=1)
    assert "2 packs written" in told(tmp_path, "--as-of", day.isoformat())
    assert sorted(one.name for one in tmp_path.iterdir()) == [
        f"fallback-T-12-{day}.pdf",
        f"fallback-T-19-{day}.pdf",
    ]


def test_a_pack_for_a_day_to_come_judges_for_that_day(cast):
    blanket = builders.blanket("B-1", at=truck())
    builders.tested(blanket, on=builders.today() - timedelta(days=200))
    later = pack_of(truck(), builders.today() + timedelta(days=400))
    assert pack_of(truck()).groups[0].rows[0].verdict == "good"
    assert later.groups[0].rows[0].verdict == "stop"
    assert ", worked out " in later.as_of


def test_a_day_that_is_past_a_truck_that_is_not_and_a_folder_that_is_none_are_refused(cast, tmp_path):
    truck()
    past = (builders.today() - timedelta(days=1)).isoformat()
    assert refusal(tmp_path, "--as-of", past)[1] == command.WRONG_USE
    assert "from" in refusal(tmp_path, "--as-of", past)[0]
    assert refusal(tmp_path, "--as-of", "tomorrow")[1] == command.WRONG_USE
    assert "no truck T-99" in refusal(tmp_path, "--truck", "T-99")[0]
    assert "is no folder" in refusal(tmp_path / "none")[0]
    assert list(tmp_path.iterdir()) == []


def test_a_pack_that_cannot_be_set_is_named_and_the_others_are_made(cast, tmp_path, monkeypatch):
    for name in ("T-12", "T-19"):
        truck(name)

    def made(trucks, paper):
        if "T-12" in trucks[0].truck:
            raise NotSet("out of memory")
        return b"%PDF-"

    monkeypatch.setattr(command, "fallback_pack_pdf", made)
    assert refusal(tmp_path) == ("T-12: out of memory", command.NOT_ALL_WELL)
    assert [one.name for one in tmp_path.iterdir()] == [f"fallback-T-19-{builders.today()}.pdf"]


def test_the_page_lists_the_trucks_and_gives_the_pack_of_each(cast, client):
    gear_of_twelve(1)
    client.force_login(cast.dev)
    assert "T-12" in client.get(reverse("fallback_packs")).content.decode()
    answer = client.get(reverse("fallback_pack_truck", args=[truck().pk]), {"paper": "a4"})
    assert answer["Content-Type"] == "application/pdf"
    assert "fallback-T-12.pdf" in answer["Content-Disposition"]
    assert client.get(reverse("fallback_pack_truck", args=[truck().pk]), {"paper": "a3"}).status_code == 400


def test_packs_of_several_trucks_may_stand_in_one_document(cast):
    html = fallback_pack_html([pack_of(truck()), pack_of(truck("T-19"))])
    assert html.count('<section class="truck">') == 2
