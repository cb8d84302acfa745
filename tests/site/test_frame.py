"""The frame of every page: the way to what a person may open, and to a label for who has not signed in."""

import pytest

pytestmark = pytest.mark.django_db


def test_a_label_can_be_checked_from_the_start_page_without_signing_in(client):
    page = client.get("/", follow=True).content.decode()
    assert '<form class="code-form" method="get" action="/t/"' in page


def test_it_cannot_where_answers_need_a_sign_in(client, settings):
    settings.ANSWER_NEEDS_SIGN_IN = True
    assert 'action="/t/"' not in client.get("/login/").content.decode()


@pytest.mark.parametrize(
    ("address", "marked"),
    [
        ("/import/", '<a href="/import/" aria-current="page">'),
        ("/import/gear/", '<a href="/import/" aria-current="true">'),
        ("/", '<a href="/" aria-current="page">'),
    ],
)
def test_the_page_or_the_part_one_is_in_is_marked(client, cast, address, marked):
    client.force_login(cast.orla)
    page = client.get(address).content.decode()
    assert marked in page
    assert page.count("aria-current") == 1


@pytest.mark.parametrize(("name", "leads"), [("ines", True), ("bertrand", True), ("dev", False)])
def test_the_count_of_what_is_not_good_leads_on_to_the_report_for_who_may_read_it(client, cast, name, leads):
    client.force_login(getattr(cast, name))
    assert ('<a class="onward" href="/reports/overdue/">' in client.get("/").content.decode()) is leads
