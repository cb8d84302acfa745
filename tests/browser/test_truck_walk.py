"""A foreman walks round his truck: every piece is counted once, what is missing is named, and nothing gets lost."""

import logging
import random
import time
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from gear.actions.acting import Act
from gear.models import Item
from gear.rules import codes
from inspections.actions.loads import add_class, fit_truck
from inspections.models import LoadCheck
from inspections.rules import loadlist
from inspections.rules.loadlist import Found, Line
from tests import builders
from tests.browser.conftest import PHONE, assert_accessible, assert_fits
from tests.browser.truck import own_phone

log = logging.getLogger(__name__)
pytestmark = pytest.mark.django_db(transaction=True)
UNSEEN = ("B-06", "J-03", "S-02")  # a blanket, the third jumper of a set, a left sleeve


def code_of(item_no: str) -> str:
    return codes.new_code(random.Random(item_no))


def labelled(kind, item_no, at, **columns):
    return builders.item(kind, item_no, at=at, label=code_of(item_no), **columns)


@pytest.fixture
def twelve(cast):
    """T-12 with 24 pieces, and Dev and Marisol, who ride along, with ten: 34 in all. A cover is muddy."""
    truck = builders.holder("truck", "T-12")
    dev, marisol = (
        builders.holder("person", name.capitalize(), person=getattr(cast, name))
        for name in ("dev", "marisol")
    )
    there = [labelled("blanket", f"B-{n:02}", truck, cls="4") for n in range(1, 7)]
    there += [labelled("line_hose", f"H-{n:02}", truck, cls="3") for n in range(1, 11)]
    there += [labelled("rigid_cover", f"C-{n:02}", truck, cls="4") for n in range(1, 6)]
    jumpers = [
        labelled("grounding_jumper", f"J-{n:02}", truck, cable_size="#2", cable_length_m="3", clamp_grade="5",
                 ferrule_grade="1") for n in range(1, 4)
    ]  # fmt: skip
    builders.gather(*jumpers, set_no="G-022", kind="grounding")
    worn = []
    for number, person in ((1, dev), (3, marisol)):
        for kind, letter, columns in (("glove", "G", {"size": "10", "length_mm": 360}), ("sleeve", "S", {})):
            pair = [labelled(kind, f"{letter}-{number + n:02}", person, cls="2", hand=hand, **columns)
                    for n, hand in enumerate("RL")]  # fmt: skip
            builders.gather(*pair, set_no=f"P-{letter}{number}")
            worn += pair
    low = [
        labelled("glove", f"G-1{n}", dev, cls="0", hand=hand, size="10", length_mm=280)
        for n, hand in enumerate("RL")
    ]
    builders.gather(*low, set_no="P-L1")
    builders.tested(*there, *jumpers, *worn, *low)
    builders.happened(there[-1], "needs_cleaning", reason="mud")
    hood = labelled("hood", "D-01", builders.holder("truck", "T-19"), cls="3")
    builders.tested(hood)
    made = add_class(
        "Rubber-glove bucket", [Line("blanket", 6, "4"), Line("line_hose", 6, "3")], act=Act(cast.ines)
    )
    fit_truck(truck, made, act=Act(cast.orla))
    return [one.item_no for one in (*there, *jumpers, *worn, *low)]


def scan(page, item_no, seen=None):
    """A hand scanner types the label; the walk counts it."""
    page.keyboard.type(code_of(item_no))
    page.keyboard.press("Enter")
    if seen is not None:
        page.locator(f'[data-part=lists][data-seen="{seen}"]').wait_for(state="attached")


@pytest.mark.both_databases
def test_a_walk_of_34_names_the_three_not_seen_survives_a_killed_page_and_is_recorded_once(
    open_page, live_server, cast, twelve
):
    assert len(twelve) == 34
    page = open_page(viewport=PHONE)
    own_phone(page, live_server.url, cast.bertrand)
    page.goto(f"{live_server.url}/truck/#walk")
    expect(page.get_by_label("Truck")).to_have_value("T-12")
    expect(
        page.get_by_text(
            "24 pieces are on record with this truck. Load list: Rubber-glove bucket, version 1."
        )
    ).to_be_visible()
    back = (timezone.localdate() + timedelta(days=5)).isoformat()
    page.get_by_label("Back by").fill(back)
    page.get_by_label("Dev: 6 pieces").check()
    page.get_by_label("Marisol: 4 pieces").check()
    assert_accessible(page)
    assert_fits(page)
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_text("0 of 34 seen")).to_be_visible()

    here = [one for one in twelve if one not in UNSEEN]
    waiting = []
    page.route("**/truck/answer/**", lambda route: waiting.append(route))  # a network that takes its time
    for count, item_no in enumerate(here[:3], start=1):
        scan(page, item_no, count)  # no piece waits for the server's word on the one before it
    assert len(waiting) == 3
    builders.happened(Item.objects.get(item_no=here[0]), "held", reason="smells of solvent")
    for route in waiting:
        route.continue_()
    expect(page.locator("[data-list=blocked] li").filter(has_text=here[0])).to_contain_text("hold")
    page.unroute("**/truck/answer/**")
    page.context.set_offline(True)
    began = time.monotonic()
    for count, item_no in enumerate(here[3:16], start=4):
        scan(page, item_no, count)
    scan(page, here[1])
    expect(page.get_by_text(f"{here[1]} is counted already.")).to_be_visible()
    expect(page.get_by_text("16 of 34 seen")).to_be_visible()

    page.reload()  # whatever killed the page
    page.goto(f"{live_server.url}/truck/#menu")
    page.goto(f"{live_server.url}/truck/#walk")
    page.get_by_role("link", name="Go on with T-12: 16 of 34 seen").click()
    page.locator('[data-part=lists][data-seen="16"]').wait_for(
        state="attached"
    )  # before that nothing listens
    for count, item_no in enumerate(here[16:], start=17):
        scan(page, item_no, count)
    took = time.monotonic() - began
    expect(page.get_by_text("31 of 34 seen")).to_be_visible()
    expect(page.get_by_text("3 not seen")).to_be_visible()
    assert page.locator("[data-list=unseen] li strong").all_inner_texts() == sorted(UNSEEN)

    # What speaks against it stands by name: mud, the rest of the set, a piece of another truck
    scan(page, "D-01")
    expect(page.locator(".walk-found")).to_contain_text("On record with T-19.")
    blocked = page.locator("[data-list=blocked] li")
    expect(blocked.filter(has_text="C-05")).to_contain_text("Clean first")
    expect(page.locator("[data-list=strays] li")).to_contain_text("D-01")
    assert "Blanket, class 4 or higher: 6 pieces" in page.locator("[data-list=short]").text_content()
    assert_accessible(page)
    assert_fits(page)

    page.get_by_role("button", name="Finish the walk").click()
    expect(page.locator(".verdict.stop .word")).to_have_text("STOP. NOT ALL OF IT MAY BE USED")
    expect(page.get_by_text("3 not seen: find them")).to_be_visible()
    expect(page.get_by_text("Recorded on this device.")).to_be_visible()
    assert not LoadCheck.objects.exists()
    assert_accessible(page)
    assert_fits(page)

    page.context.set_offline(False)
    expect(page.get_by_text("Recorded, and the server has it.")).to_be_visible(timeout=30_000)
    kept = LoadCheck.objects.get()
    assert (kept.truck.name, kept.by.username, kept.expected, kept.seen) == ("T-12", "bertrand", 34, 31)
    assert (kept.outcome, kept.told_outcome, kept.back_on.isoformat()) == ("stop", "stop", back)
    assert {piece["no"] for piece in kept.pieces if piece["state"] == "not_seen"} == set(UNSEEN)
    assert [piece["state"] for piece in kept.pieces if piece["no"] == "D-01"] == ["wrong_truck"]
    assert kept.short[0]["aboard"] == 4  # of six blankets one was not seen and one is on hold
    assert kept.load_list.version == 1
    page.reload()
    expect(page.get_by_text("Recorded, and the server has it.")).to_be_visible()
    assert LoadCheck.objects.count() == 1
    log.info("28 scans without a network, a reload among them: %.1f s", took)


# What a walk comes to, on the phone and on the server
def drawn(draw):
    """A scanned piece: here or not, with whom else, what was told, its last day, taken over or not."""
    verdict = draw.choice(("good", "good", "good", "good", "stop", "unknown"))
    day = draw.choice((None, "2026-09-13", "2026-09-20", "2026-09-20"))
    return draw.random() < 0.6, draw.choice(("", "truck", "shelf")), verdict, day, draw.random() < 0.3


def phones_walk(number, pieces, unseen):
    """A walk as the phone holds it: pieces that are on record here or elsewhere, and some that were not seen."""
    marks, expected = [], [{"no": f"U-{n}", "heading": "", "holder": "T-12"} for n in range(unseen)]
    for place, (here, elsewhere, verdict, day, taken) in enumerate(pieces):
        no = f"X-{number}-{place}" if here or elsewhere else ""
        if here:
            expected.append({"no": no, "heading": "", "holder": "T-12"})
        holder = {"kind": elsewhere or "shelf", "name": "T-19"}
        marks.append(
            {
                "no": no,
                "code": str(place),
                "verdict": verdict,
                "last_day": day,
                "taken": taken,
                "holder": holder,
                "reasons": [],
            }
        )
    return {"truck": "T-12", "crew": [], "back_on": "2026-09-20", "marks": marks, "expected": expected}


def servers_outcome(walk):
    listed = {one["no"] for one in walk["expected"]}
    found = []
    for mark in walk["marks"]:
        state = (
            "unknown"
            if not mark["no"]
            else "seen"
            if mark["no"] in listed
            else "wrong_truck"
            if mark["holder"]["kind"] == "truck"
            else "extra"
        )
        day = mark["last_day"] and timezone.datetime.fromisoformat(mark["last_day"]).date()
        found.append(Found(mark["no"], state, mark["verdict"], day, mark["taken"]))
    seen = {one.item_no for one in found}
    found += [Found(one["no"], "not_seen", "") for one in walk["expected"] if one["no"] not in seen]
    tally = loadlist.tally(found, back_on=timezone.datetime.fromisoformat(walk["back_on"]).date(), short=0)
    return [tally.outcome, tally.seen, tally.expected, tally.blocked, tally.strays]


def test_the_phone_tallies_walks_and_fills_lists_as_the_server_does(page, live_server):
    draw = random.Random(34)
    walks = []
    for number in range(400):
        pieces = [drawn(draw) for _one in range(draw.randrange(5))]
        walks.append(phones_walk(number, pieces, draw.choice((0, 0, 0, 1, 2))))
    fits = []
    for _one in range(300):
        lines = [
            sorted({draw.randrange(6) for _unit in range(draw.randrange(5))})
            for _line in range(draw.randrange(1, 4))
        ]
        fits.append([lines, [draw.randrange(1, 4) for _line in lines]])
    page.goto(f"{live_server.url}/truck/")
    told = page.evaluate(
        """async ([walks, fits]) => {
             const { tallyOf, matched } = await import(`${document.documentElement.dataset.static}walk/tally.js`);
             return [walks.map((walk) => {
               const { outcome, seen, expected, blocked, strays } = tallyOf(walk, null, []);
               return [outcome, seen, expected, blocked.length, strays.length];
             }), fits.map(([lines, wanted]) => matched(lines, wanted))];
           }""",
        [walks, fits],
    )
    assert told[0] == [servers_outcome(walk) for walk in walks]
    assert told[1] == [loadlist.matched(lines, wanted) for lines, wanted in fits]
    assert {one[0] for one in told[0]} == {"good", "stop", "unknown"}


def test_the_good_of_a_finished_walk_stands_for_five_minutes(page, live_server):
    page.goto(f"{live_server.url}/truck/")
    shown = page.evaluate(
        """async () => {
             const at = document.documentElement.dataset.static;
             const [{ result }, { tallyOf }, time] = await Promise.all(
               ["walk/result.js", "walk/tally.js", "time.js"].map((name) => import(`${at}${name}`)));
             await time.ready;
             const holder = { kind: "truck", name: "T-12" };
             const piece = { no: "B-1", code: "B-1", kind: "blanket", heading: "Blanket", holder };
             const mark = { ...piece, verdict: "good", last_day: "2099-01-01", reasons: [] };
             return [4 * 60_000, 6 * 60_000].map((ago) => {
               const walk = { id: "w", truck: "T-12", back_on: "2098-01-01", expected: [piece], marks: [mark],
                              finished_ms: time.now().ms - ago };
               walk.tally = { ...tallyOf(walk, null, []), lost: [] };
               const stage = document.createElement("div");
               result(stage, walk)();
               const aged = stage.textContent.includes("says nothing about now");
               return [walk.tally.outcome, stage.querySelector(".verdict").className, aged];
             });
           }"""
    )
    assert shown == [["good", "verdict good", False], ["good", "verdict unknown", True]]
