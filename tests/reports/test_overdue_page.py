"""The page of the overdue report: who may read it, whose gear it shows, what stands on it and what never does."""

from datetime import date
from html import unescape
from html.parser import HTMLParser

import pytest
from django.db.models import Q
from django.test import Client
from django.urls import reverse

from gear.models import Holder, ItemState
from reports.views import overdue
from reports.wording import Caps
from tests import builders

pytestmark = pytest.mark.django_db

PAGE = "/reports/overdue/"
FILES = ("overdue_report_pdf", "overdue_report_csv", "overdue_report_xlsx", "overdue_report_json")


def signed_in(person):
    client = Client()
    client.force_login(person)
    return client


def text_of(response):
    """The words of the page, tags removed."""

    class Words(HTMLParser):
        def __init__(self):
            super().__init__()
            self.words = []

        def handle_data(self, data):
            self.words.append(data)

    reader = Words()
    reader.feed(response.content.decode())
    return " ".join(unescape(" ".join(reader.words)).split())


def section(response, name):
    """The numbers of the items listed in one part of the page."""
    part = response.content.decode().split(f'<section id="{name}"')[1].split("</section>")[0]
    return [piece.split("<")[0].split(">")[1] for piece in part.split('class="number"')[1:]]


# Who may read it


@pytest.mark.parametrize("route", ["overdue_report", *FILES])
@pytest.mark.parametrize(
    ("who", "status"),
    [
        ("bertrand", 200),
        ("orla", 200),
        ("ines", 200),
        ("halvard", 200),
        ("pim", 200),
        ("dev", 403),
        ("marisol", 403),
    ],
)
def test_foreman_and_office_read_it_and_workers_do_not(cast, route, who, status):
    assert signed_in(getattr(cast, who)).get(reverse(route)).status_code == status


@pytest.mark.parametrize("route", ["overdue_report", *FILES])
def test_a_visitor_is_asked_to_sign_in_and_nobody_can_post(cast, client, route):
    assert client.get(reverse(route)).headers["Location"].startswith("/login/")
    assert signed_in(cast.ines).post(reverse(route)).status_code == 405


# Whose gear


def test_a_foreman_sees_the_gear_of_his_crew_and_no_other(fleet):
    page = signed_in(fleet.cast.bertrand).get(PAGE)
    assert section(page, "usable-now") == [fleet.left.item_no, fleet.right.item_no, "B-held", "B-lost"]
    assert "Only gear held by Crew 7." in text_of(page)
    assert "T-19" not in page.content.decode()


def test_a_foreman_without_a_crew_sees_nothing_and_is_not_told_that_all_is_well(fleet):
    fleet.cast.bertrand.crew = None
    fleet.cast.bertrand.save()
    words = text_of(signed_in(fleet.cast.bertrand).get(PAGE))
    assert "You belong to no crew" in words
    assert "0 items are overdue" not in words
    assert "B-held" not in words


@pytest.mark.parametrize(
    ("who", "bound"), [("orla", True), ("ines", True), ("halvard", False), ("pim", False)]
)
def test_clerk_and_supervisor_of_a_depot_see_that_depot_and_the_auditor_sees_all(fleet, who, bound):
    person = getattr(fleet.cast, who)
    person.depot = fleet.elsewhere
    person.save()
    page = signed_in(person).get(PAGE)
    assert ("B-held" in section(page, "usable-now")) is not bound
    assert "B-over_far" in section(page, "usable-now")
    assert ("Only gear held in Ferrow Point." in text_of(page)) is bound


@pytest.mark.parametrize("route", ["overdue_report", "overdue_report_csv", "overdue_report_json"])
def test_gear_of_another_crew_changes_nothing_that_a_foreman_sees(fleet, route):
    foreman = signed_in(fleet.cast.bertrand)
    before = foreman.get(reverse(route)).getvalue()
    truck = builders.holder("truck", "T-20", crew=fleet.crew_9, depot=fleet.elsewhere)
    builders.issued(builders.blanket("B-more"), to=truck, on=fleet.monday)
    without_token = (before, foreman.get(reverse(route)).getvalue())
    assert len({_tokenless(content) for content in without_token}) == 1


def _tokenless(content):
    """The page without the value that differs on every request."""
    head, mark, tail = content.partition(b'name="csrfmiddlewaretoken" value="')
    return head + mark + tail[64:]


def test_a_person_who_changed_crews_is_called_through_the_new_foreman(fleet):
    Holder.objects.filter(name="Dev").update(crew=fleet.crew_9)
    assert fleet.left.item_no not in section(signed_in(fleet.cast.bertrand).get(PAGE), "usable-now")
    words = text_of(signed_in(fleet.cast.ines).get(PAGE))
    assert words.index("Crew 9, ") < words.index(fleet.left.item_no)


# What stands on it


def test_page_one_counts_what_a_query_counts(fleet):
    page = signed_in(fleet.cast.ines).get(PAGE)
    counts = page.context["told"].report.counts
    in_hands = ItemState.objects.filter(usable_now=True)
    assert counts.overdue == in_hands.filter(good_through__lt=fleet.monday).count() == 3
    stopped = ~Q(condition="ok") | Q(last_test_on=None)
    assert (
        counts.blocked
        == in_hands.filter(stopped).exclude(good_through__lt=fleet.monday).distinct().count()
        == 3
    )
    assert counts.lost == ItemState.objects.filter(condition="lost").count() == 1


def test_page_one_names_crew_phone_holder_clock_and_days_over(fleet):
    words = text_of(signed_in(fleet.cast.ines).get(PAGE))
    assert "3 items are overdue in people's hands. The oldest: 45 days over." in words
    assert "Crew 7, Harbour depot Call bertrand: 555-0107" in words
    assert (
        f"{fleet.left.item_no} Glove, class 2, size 10 Dev Person 31 JUL 2026 45 days over"
        " still open, since 1 AUG 2026 STOP Out of date (6 months from first issue)." in words
    )


def test_due_soon_stands_in_steps_and_the_shelf_stands_apart(fleet):
    page = signed_in(fleet.cast.ines).get(PAGE)
    words = text_of(page)
    assert section(page, "due-soon") == ["B-due_in_0", "B-due_in_7", "B-due_in_8", "B-due_in_28"]
    assert [f"Due within {days} days: {count}" in words for days, count in ((7, 2), (14, 1), (28, 1))] == [
        True
    ] * 3
    assert section(page, "off-the-road") == ["B-over_on_shelf"]


def test_an_item_that_goes_from_truck_to_shelf_goes_from_page_one_to_the_chores(fleet):
    builders.happened(fleet.held, "returned", holder=builders.holder("shelf", "Shelf B").as_fact())
    page = signed_in(fleet.cast.ines).get(PAGE)
    assert "B-held" not in section(page, "usable-now")
    assert "B-held" in section(page, "off-the-road")


def test_three_lost_items_stay_in_the_count(fleet):
    for name in ("due_in_0", "due_in_8", "over_on_shelf"):
        builders.happened(getattr(fleet, name), "lost", reason="not found")
    report = signed_in(fleet.cast.ines).get(PAGE).context["told"].report
    assert (report.totals["lost"], report.totals["items_in_book"]) == (4, 13)
    assert sum(count for name, count in report.totals.items() if name != "items_in_book") == 13


def test_when_nothing_is_overdue_in_hands_it_says_so(cast, monday):
    builders.tested(builders.blanket("B-1"), on=monday)
    words = text_of(signed_in(cast.ines).get(PAGE))
    assert "0 items are overdue in anyone's hands." in words
    assert "Nothing that is not good is in anyone's hands." in words


def test_an_unknown_item_in_hands_keeps_it_from_saying_that_nothing_is_overdue(cast, monday):
    one = builders.blanket("B-1", at=builders.holder("truck", "T-12"))
    ItemState.objects.filter(item=one).update(chain_ok=False)
    words = text_of(signed_in(cast.ines).get(PAGE))
    assert "0 items are overdue in anyone's hands." not in words
    assert "of 1 item nothing can be said" in words
    assert "CAN'T SAY" in words


def test_every_figure_says_as_of_when_where_and_by_which_rules(fleet):
    words = text_of(signed_in(fleet.cast.ines).get(PAGE))
    assert "As of 14 SEP 2026, end of day (America/New_York). Rule pack: us_federal 1." in words
    assert "Last seal: no seal yet." in words
    assert "A record, not a permit" in words
    assert (
        "13 items = 5 good + 6 not good in hands + 1 not good elsewhere + 1 destroyed and in nobody's hands."
        in words
    )


def test_long_lists_are_cut_with_a_sentence_and_counts_stay_whole(fleet, monkeypatch):
    monkeypatch.setattr(overdue, "PAGE", Caps(2, 1, 0))
    page = signed_in(fleet.cast.ines).get(PAGE)
    words = text_of(page)
    assert section(page, "usable-now") == ["B-contracted", fleet.left.item_no]
    assert section(page, "due-soon") == ["B-due_in_0"]
    assert "Only the first 2 of 6 lines are shown here. The CSV file has all of them." in words
    assert "Due within 7 days: 2" in words
    assert page.context["told"].report.counts.overdue == 3


def test_what_people_typed_is_shown_and_never_run(cast, monday):
    nasty = "<script>alert(1)</script>"
    one = builders.blanket("B-<b>1</b>", at=builders.holder("truck", "<i>T</i>"))
    builders.happened(one, "held", reason=nasty, on=monday)
    content = signed_in(cast.ines).get(PAGE).content.decode()
    assert nasty not in content
    assert "&lt;script&gt;" in content
    assert "<i>T</i>" not in content
    assert "B-<b>" not in content


# The day asked about


@pytest.mark.parametrize(
    ("day", "overdue_in_hands"), [("2026-07-31", 0), ("2026-08-01", 2), ("2026-09-10", 3)]
)
def test_any_past_day_is_told_as_it_was_at_its_end(fleet, day, overdue_in_hands):
    page = signed_in(fleet.cast.ines).get(PAGE, {"as_of": day})
    assert page.context["told"].report.counts.overdue == overdue_in_hands
    assert f'value="{day}"' in page.content.decode()


def test_a_future_day_is_told_as_if_nothing_else_happened(fleet):
    report = signed_in(fleet.cast.ines).get(PAGE, {"as_of": "2026-10-13"}).context["told"].report
    assert report.counts.overdue == 6  # three more in hands; the one of 29 days is on its last good day
    assert [(line.item_no, line.days_left) for line in report.due_soon] == [("B-due_in_29", 0)]


@pytest.mark.parametrize(
    "text", ["2026-02-30", "yesterday", "14.9.2026", "20260914", "1899-12-31", "٢٠٢٦-٠٩-١٤", "9999-12-31"]
)
@pytest.mark.parametrize("route", ["overdue_report", *FILES])
def test_a_day_that_cannot_be_read_is_refused_with_a_sentence_and_no_other_day_is_told(fleet, route, text):
    answer = signed_in(fleet.cast.ines).get(reverse(route), {"as_of": text})
    assert answer.status_code == 400
    words = answer.content.decode()
    assert text in words or answer.json()["error"]["message"].startswith(text)
    assert "B-held" not in words


def test_the_files_are_of_the_day_that_the_page_shows(fleet):
    content = signed_in(fleet.cast.ines).get(PAGE, {"as_of": "2026-08-01"}).content.decode()
    for route in FILES:
        assert f"{reverse(route)}?as_of=2026-08-01" in content


# What it costs


@pytest.mark.parametrize("route", ["overdue_report", "overdue_report_csv", "overdue_report_json"])
def test_the_number_of_queries_does_not_grow_with_the_book(cast, monday, route, django_assert_num_queries):
    supervisor = signed_in(cast.ines)
    counted = []
    for size in (3, 40):
        for number in range(size):
            truck = builders.holder(
                "truck", f"T-{size}-{number}", crew=builders.crew(f"Crew {size}-{number}")
            )
            builders.pair(at=truck)
            builders.issued(builders.blanket(received_on=date(2025, 1, 2)), to=truck, on=date(2025, 2, 3))
        with django_assert_num_queries(counted[0]) if counted else _counting(counted):
            supervisor.get(reverse(route)).getvalue()


def _counting(counted):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    class Counting(CaptureQueriesContext):
        def __exit__(self, *problem):
            super().__exit__(*problem)
            counted.append(len(self))

    return Counting(connection)
