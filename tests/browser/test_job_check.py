"""The job of a storm morning at the size of a phone: entered by keys, read, changed, and good in the end."""

from decimal import Decimal

import pytest
from playwright.sync_api import expect

from inspections.models import JobCheck
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits
from tests.inspections.job_crew import ahead, ground_set, loaded, out_on_day, ready_crew, stocked, worn

pytestmark = pytest.mark.django_db(transaction=True)
SLOW = 20_000  # ms: a busy machine


@pytest.fixture
def story(cast):
    """24.9 kV, 13.2 kA and 18 cycles: class 2 is too low, #2 too small, and a blanket goes out of date on day 4."""
    crew = ready_crew(cast)
    other = builders.holder("truck", "T-19", crew=builders.crew("Crew 9"), depot=cast.depot)
    ground_set(crew.truck, "#2", "G-022")
    ground_set(other, "1/0", "G-031")
    loaded(crew.truck, item_no="B-417", tested=out_on_day(4))
    loaded(crew.shelf, item_no="B-500")
    stocked(crew.shelf, set_no="P-300")
    return crew


def fill(page, label, text):
    page.get_by_label(label, exact=True).fill(text)


def test_the_story_of_truck_twelve(live_server, open_page, sign_in, story):
    page = open_page(viewport=PHONE)
    page.set_default_timeout(SLOW)
    sign_in(page, "bertrand")
    page.goto(f"{live_server.url}/job/")
    assert_accessible(page)
    page.get_by_role("link", name="T-12", exact=True).click()
    expect(page.get_by_role("group", name="Dev").get_by_label("Glove size")).to_have_value("10", timeout=SLOW)
    assert_accessible(page)
    assert_fits(page)

    # what is not entered is not assumed
    fill(page, "System voltage, phase-to-phase, kV", "24900")
    page.get_by_label("Back by").focus()
    page.get_by_role("button", name="Check the job").press("Enter")
    expect(page.get_by_role("alert")).to_be_visible(timeout=SLOW)
    expect(page.get_by_text("24900 is more than 800 kV. Look at the unit.")).to_be_visible()
    assert_accessible(page)

    # by keys alone
    fill(page, "System voltage, phase-to-phase, kV", "24.9")
    page.get_by_label("Multiphase: more than one phase is within reach").press("Space")
    page.get_by_label("Rubber gloves").press("Space")
    fill(page, "Work sites that are grounded", "1")
    page.get_by_label("One set to a site").press("Space")
    fill(page, "Fault current at the site, kA", "13.2")
    fill(page, "X/R at the site", "1.6")
    fill(page, "Clearing time of the primary protection, cycles", "12")
    fill(page, "Clearing time of the backup protection, cycles", "18")
    fill(page, "Back by", str(ahead(6)))
    page.get_by_role("button", name="Check the job").press("Enter")

    # the worst on top, each with what would close it
    expect(page.locator(".verdict.stop")).to_contain_text("STOP. DO NOT USE", timeout=SLOW)
    found = page.locator(".found-stop > li")
    expect(found).to_have_count(3)
    expect(found.nth(0)).to_contain_text(
        "Dev: gloves P-1 (class 2) too low for this line. Class 3 or higher is needed."
    )
    expect(found.nth(0)).to_contain_text("P-300, class 3")
    expect(found.nth(0)).to_contain_text("17 kV")
    expect(found.nth(1)).to_contain_text(
        "Set G-022, #2, grade 1: 10 kA for 30 cycles. Too small for 13.2 kA."
    )
    expect(found.nth(1)).to_contain_text("G-031, Truck T-19")
    expect(found.nth(2)).to_contain_text("Blanket B-417 goes out of date on day 4")
    expect(found.nth(2)).to_contain_text("B-500, class 4")
    expect(page.get_by_text("The qualified person decides.").first).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    assert JobCheck.objects.get().asked["job"]["fault_ka"] == str(Decimal("13.2"))

    # the pair is fetched, the rest left out: the same job again is good
    worn(story.dev, cls="3", set_no="P-3")
    page.get_by_role("link", name="Change and check again").click()
    page.get_by_text("Leave out something that is aboard T-12").click()
    for name in ("B-417", "G-022"):
        page.get_by_role("checkbox", name=name).check()
    assert_accessible(page)
    page.get_by_role("button", name="Check the job").click()
    expect(page.locator(".verdict.good")).to_contain_text("GOOD THROUGH", timeout=SLOW)
    expect(page.get_by_text("Said to be left out of this job: B-417, G-022.")).to_be_visible()
    assert_accessible(page)


@pytest.mark.parametrize(("viewport", "scheme"), [(DESK, "dark"), (PHONE, "light")])
def test_booms_and_the_roster_are_accessible_and_fit(
    live_server, open_page, sign_in, story, viewport, scheme
):
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "ines")
    boom = f"/booms/{story.truck.pk}/"
    for one in (
        "/booms/",
        boom,
        "/reports/roster/",
        "/reports/roster/?days=30&cls=3",
        "/reports/roster/?days=0",
    ):
        page.goto(f"{live_server.url}{one}")
        assert_accessible(page)
        assert_fits(page)
