"""Phones at the truck: enrolled, with the person's data on them, as each test of the client begins."""

import re

from playwright.sync_api import Page, expect

from tests.inspections.fielding import phone_of


def own_phone(page: Page, url: str, person) -> Page:
    """The client on the phone of a person who is signed in, once it holds its data and its shell is kept."""
    cookies = phone_of(person).cookies
    page.context.add_cookies([{"name": one.key, "value": one.value, "url": url} for one in cookies.values()])
    page.goto(f"{url}/truck/#menu")
    expect(page.locator("#status")).to_contain_text(person.name)
    expect(page.locator("#status")).to_contain_text(re.compile(r"Data \d+ s old"))
    expect(page.locator("html")).to_have_attribute("data-kept", "yes")
    return page


def screens_of(page: Page) -> list[str]:
    """The name of every screen of this release."""
    return page.evaluate("() => document.documentElement.dataset.screens").split()


def check_code(page: Page, code: str) -> None:
    """Types a code into the screen for scanning, from whatever screen is shown."""
    page.get_by_role("link", name="Scan", exact=True).click()
    page.get_by_label("Code on the label").fill(code)
    page.get_by_role("button", name="Check").click()
