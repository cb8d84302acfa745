"""A certificate from the keyboard to the paper, checked offline; and the list of missing particulars on any screen."""

import pytest

from reports.rules.certificate_check import attached, report
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits
from tests.reports.papers import fourteen_inch, issued, logged, ten_feet

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def glove_test(cast):
    logged(ten_feet(), cast.orla)
    return logged(fourteen_inch(at=builders.holder("truck", "T-07")), cast.orla)


@pytest.mark.parametrize(("viewport", "scheme"), [(DESK, "light"), (PHONE, "dark")], ids=["desk", "phone"])
def test_every_page_can_be_read_by_everybody_on_any_screen(
    live_server, glove_test, open_page, sign_in, viewport, scheme
):
    made = issued(glove_test).certificate
    page = open_page(viewport=viewport, color_scheme=scheme)
    sign_in(page, "orla")
    for address in (
        "/certificates/",
        "/certificates/?by=holder&what=T-07",
        "/certificates/?by=holder&what=nobody",
        f"/certificates/check/?number={made.number}&code={made.code}",
        f"/certificates/check/?number={made.number}&code=wrong",
        "/data-quality/",
        "/data-quality/?lack=LOT",
    ):
        page.goto(f"{live_server.url}{address}")
        assert_accessible(page)
        assert_fits(page)


def test_by_keyboard_alone_to_the_paper_and_the_paper_passes_the_check(
    live_server, glove_test, open_page, sign_in
):
    page = open_page(java_script_enabled=False)
    sign_in(page, "orla")
    page.goto(f"{live_server.url}/certificates/")
    page.get_by_label("Which").focus()
    page.keyboard.type("G-00001")
    page.keyboard.press("Enter")
    page.wait_for_url("**what=G-00001")
    link = page.get_by_role("link", name=f"Certificate G-00001/{glove_test.position}")
    paper = page.request.get(f"{live_server.url}{link.get_attribute('href')}")
    lines, fine = report(attached(paper.body()))
    assert fine
    assert lines[0].startswith(f"G-00001/{glove_test.position}  code ")


def test_a_visitor_types_number_and_code_off_the_paper(live_server, glove_test, page):
    made = issued(glove_test).certificate
    page.goto(f"{live_server.url}/certificates/check/")
    page.get_by_label("Number").fill(made.number)
    page.get_by_label("Verification code").fill(made.code.replace("-", " ").lower())
    page.get_by_role("button", name="Check").click()
    assert page.locator("#result").inner_text() == "Genuine: Test certificate"
    assert "orla" not in page.content()
