"""Pim after a restore: what waits, a seal that is none, a gap signed for; and the export that Halvard takes along."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from gear.ledger import Draft, make_seal, record
from gear.queries import restored
from tests import builders
from tests.browser.conftest import DESK, PHONE, assert_accessible, assert_fits

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path


def looked_at(page):
    assert_accessible(page)
    assert_fits(page)


@pytest.mark.parametrize("screen", [{"viewport": DESK}, {"viewport": PHONE, "color_scheme": "dark"}])
def test_a_restored_record_is_answered_for_by_keys_alone(screen, live_server, open_page, sign_in, cast):
    builders.tested(builders.blanket("B-1"))
    seal = make_seal(timezone.now())
    facts = {"made_at": timezone.now().isoformat(), "seal": f"{seal.number}:{seal.hash}", "head": "0" * 64}
    record(Draft(None, "restored", facts), by=None, via="system")
    page = open_page(**screen)
    sign_in(page, "pim")
    page.goto(f"{live_server.url}/records/restored/")
    expect(
        page.get_by_text("Every answer is unknown. Use nothing on the strength of this record")
    ).to_be_visible()
    expect(page.get_by_role("link", name="Which have not been heard of since")).to_be_visible()
    looked_at(page)
    page.get_by_role("link", name="Answer for it").press("Enter")
    looked_at(page)
    page.get_by_label("The newest seal that you hold outside").fill("1:abc")
    page.get_by_label("Your password, once more").fill("pim keeps a secret")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Write it as printed")).to_be_visible()
    looked_at(page)
    page.get_by_label("The newest seal that you hold outside").fill(f"1:{seal.hash[:16]}")
    page.get_by_label("Your password, once more").fill("pim keeps a secret")
    page.keyboard.press("Enter")
    expect(page.get_by_text("No restore waits for an answer.")).to_be_visible()
    expect(page.get_by_role("cell", name="Compared with the seal held outside")).to_be_visible()
    looked_at(page)
    assert restored.waiting() is None


@pytest.mark.parametrize("screen", [{"viewport": DESK}, {"viewport": PHONE, "color_scheme": "dark"}])
def test_an_export_is_asked_for_and_what_is_wrong_is_said(screen, live_server, open_page, sign_in, cast):
    builders.tested(builders.blanket("B-1"))
    page = open_page(**screen)
    sign_in(page, "halvard")
    page.goto(f"{live_server.url}/exports/")
    looked_at(page)
    page.locator("input[name=item]").fill("B-9")
    page.keyboard.press("Enter")
    expect(page.get_by_text("There is no B-9 in the book.")).to_be_visible()
    looked_at(page)
    page.locator("input[name=item]").fill("B-1")
    with page.expect_download() as taken:
        page.keyboard.press("Enter")
    assert taken.value.suggested_filename == "gear-record-B-1.zip"
