"""Whoever takes a piece out of use on a page is told the nearest equal, from the same query as at the truck."""

import re
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear.actions import photos
from gear.views import instead
from tests import builders
from tests.gear.act_forms import send, told
from tests.gear.policy_pages import signed_in
from tests.gear.test_look_page import PAGE as LOOK
from tests.gear.test_look_page import form_of
from tests.inspections.phones import picture

pytestmark = pytest.mark.django_db


@pytest.fixture
def worn(cast):
    """A good blanket on Dev's truck; an equal one on the shelf, one that is nearer, and one of another class."""
    truck = builders.holder("truck", "T-07")
    blanket = builders.blanket("B-1", at=truck)
    others = (
        builders.blanket("B-2", at=builders.holder("shelf", "A")),
        builders.blanket("B-3", at=builders.holder("truck", "T-07")),
        builders.blanket("B-4", cls="4", at=truck),
    )
    builders.tested(blanket, *others)
    return blanket


def offered(page):
    section = re.search(r'<section aria-labelledby="instead">.*?</section>', page, re.DOTALL)
    return re.findall(r"<strong>([^<]+)</strong>", section[0]) if section else None


@pytest.mark.parametrize(
    ("verb", "fields"),
    [
        ("reject", {"reason": "cut"}),
        ("hold", {"reason": "odd smell"}),
        ("report_event", {"event": "dropped"}),
        ("inspect_before_use", {"outcome": "reject", "words": ["cut"]}),
    ],
)
def test_what_takes_a_piece_out_of_use_names_the_nearest_equal(cast, worn, verb, fields):
    dev = signed_in(cast.dev)
    answer = send(dev, worn, verb, **fields)
    assert answer.status_code == 302
    assert "Nearest equal: B-3 at Truck T-07, Crew 7, good through" in told(answer)[0]
    assert offered(dev.get("/items/B-1/").content.decode()) == ["B-3", "B-2"]


def test_a_good_piece_and_one_on_a_shelf_are_shown_without_and_nothing_is_asked_for_them(
    cast, worn, monkeypatch
):
    def never(*_asked, **_more):
        raise AssertionError("This asks for what nobody needs.")

    monkeypatch.setattr(instead, "replacements_for", never)
    dev = signed_in(cast.dev)
    assert offered(dev.get("/items/B-1/").content.decode()) is None
    assert send(dev, worn, "inspect_before_use", outcome="accept").status_code == 302
    shelved = builders.blanket("B-9")
    builders.happened(shelved, "rejected", reason="cut")
    assert offered(dev.get("/items/B-9/").content.decode()) is None


def test_of_the_past_no_replacement_is_named(cast, worn):
    builders.happened(worn, "rejected", reason="cut")
    page = signed_in(cast.dev).get("/items/B-1/", {"as_of": builders.today().isoformat()})
    assert offered(page.content.decode()) is None


def test_where_there_is_none_it_is_said(cast):
    blanket = builders.blanket("B-1", at=builders.holder("truck", "T-07"))
    builders.happened(blanket, "rejected", reason="cut")
    page = signed_in(cast.dev).get("/items/B-1/").content.decode()
    assert offered(page) == []
    assert "No equal that is good today" in page


@pytest.fixture
def media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"


def photographed(piece, by, **facts):
    """A look at a piece with a photo, as it comes from a phone."""
    stated = {"outcome": "reject", "scope": "pre_use", "words": ["cut"], **facts}
    entry = builders.happened(piece, "inspected", by=by, **stated)
    return photos.keep(picture(), photo_id=uuid4(), entry=entry)[0]


def test_a_look_at_the_tool_room_shows_the_photos_and_what_may_stand_in(cast, worn, media):
    orla = signed_in(cast.orla)
    photo = photographed(worn, cast.dev, outcome="test", words=["scratch"])
    assert f'src="/photos/{photo.pk}/"' in orla.get(LOOK, {"item": "B-1"}).content.decode()
    answer = orla.post(LOOK, {**form_of(orla, worn), "outcome": "reject", "words": ["cut"]})
    page = orla.get(answer.url).content.decode()
    assert f'src="/photos/{photo.pk}/"' in page
    assert offered(page) == ["B-3", "B-2"]
    assert offered(orla.get(LOOK, {"done": "B-2"}).content.decode()) is None


def test_a_reject_has_its_photos_beside_its_entry_for_those_who_may_see_them(cast, worn, media):
    photo = photographed(worn, cast.dev)
    page = signed_in(cast.orla).get("/rejects/").content.decode()
    assert page.count(f'src="/photos/{photo.pk}/"') == 1
    far = builders.person("clerk", "far", depot=builders.depot("Far depot"))
    page = signed_in(far).get("/rejects/").content.decode()
    assert "B-1" in page
    assert str(photo.pk) not in page


def test_more_rejects_with_photos_ask_no_more(cast, worn, media):
    orla = signed_in(cast.orla)
    photographed(worn, cast.dev)

    def queries_for():
        with CaptureQueriesContext(connection) as made:
            orla.get("/rejects/")
        return len(made)

    before = queries_for()
    for number in range(4):
        photographed(builders.blanket(f"B-more-{number}"), cast.dev)
    assert queries_for() == before
