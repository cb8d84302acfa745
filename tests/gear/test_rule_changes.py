"""What a change of rules would do is seen before it is made; a rule pack is adopted as its file is."""

import html
from datetime import date, timedelta

import pytest

from gear import queries
from gear.actions import policy as acts
from gear.models import Entry, Refusal
from gear.queries import site_rules
from gear.rules import packs
from gear.rules.packs import Interval
from gear.rules.policy import SitePolicy
from tests import builders
from tests.gear.policy_pages import (
    FIRST_OF_JULY,
    TODAY,
    adopt,
    confirmed,
    errors,
    held_blanket,
    sent,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("fifteenth_of_june")]


# The preview


def test_the_preview_shows_every_answer_that_would_change_and_records_nothing(ines):
    late = held_blanket(tested_on=date(2025, 12, 15))  # good, then stop
    moved = held_blanket(tested_on=date(2026, 3, 1))  # good through 28 Feb 2027, then 31 Aug 2026
    builders.glove()  # not tested: stop under both
    entries = Entry.objects.count()
    answer = ines.post("/site/policy/", sent(**{"intervals.blanket": 6}))
    change = answer.context["change"]
    assert (change.items, change.total, change.better) == (3, 2, 0)
    assert change.counts == [(("person", "good", "stop"), 1), (("person", "good", "good"), 1)]
    assert [one.after.item_no for one in change.lines] == [late.item_no, moved.item_no]
    page = html.unescape(answer.content.decode())
    for words in (late.item_no, "GOOD THROUGH 14 DEC 2026", "STOP. DO NOT USE", "GOOD THROUGH 31 AUG 2026"):
        assert words in page
    assert (Entry.objects.count(), Refusal.objects.count()) == (entries, 0)


def test_the_preview_is_what_the_answers_become(ines):
    blankets = [held_blanket(tested_on=date(2025, 7, 5) + timedelta(days=40 * number)) for number in range(8)]
    left, right = builders.pair()
    builders.tested(left, right, on=date(2026, 3, 2))
    builders.issued(left, right, on=date(2026, 3, 2))
    fields = sent(**{"intervals.blanket": 6, "intervals.glove": 2})
    preview = ines.post("/site/policy/", fields).context["change"]
    asked = queries.question(FIRST_OF_JULY)
    numbers = [item.item_no for item in (*blankets, left, right)]
    before = {answer.item_no: answer for answer in queries.answers(numbers, asked)}
    confirmed(ines, fields)
    after = {answer.item_no: answer for answer in queries.answers(numbers, asked)}
    assert {one.after.item_no: (one.before, one.after) for one in preview.lines} == {
        number: (before[number], after[number]) for number in numbers if before[number] != after[number]
    }


def test_a_change_that_makes_answers_better_is_pointed_out(ines):
    held_blanket(tested_on=date(2025, 12, 15))
    confirmed(ines, sent(effective_from=TODAY, **{"intervals.blanket": 6}))
    answer = ines.post("/site/policy/", sent())
    assert answer.context["change"].better == 1
    assert "would get a better answer" in html.unescape(answer.content.decode())


def test_only_the_worst_lines_are_shown_and_the_counts_are_of_all(ines):
    for number in range(5):
        held_blanket(tested_on=date(2025, 12, 15), item_no=f"B-{number}")
    held_blanket(tested_on=date(2026, 6, 1), item_no="A-0")
    proposed = acts.proposed_policy(
        SitePolicy(intervals={"blanket": Interval(6, "months")}), effective_from=FIRST_OF_JULY
    )
    change = site_rules.change(proposed, most=3)
    assert [one.after.item_no for one in change.lines] == ["B-0", "B-1", "B-2"]
    assert sum(number for _key, number in change.counts) == change.total == 6


def test_the_preview_asks_as_often_for_many_items_as_for_few(django_assert_max_num_queries):
    proposed = acts.proposed_policy(
        SitePolicy(intervals={"blanket": Interval(6, "months")}), effective_from=FIRST_OF_JULY
    )
    held_blanket(tested_on=date(2026, 6, 1))
    with django_assert_max_num_queries(12) as few:
        site_rules.change(proposed)
    for _one in range(6):
        held_blanket(tested_on=date(2026, 6, 1))
    with django_assert_max_num_queries(len(few)):
        site_rules.change(proposed)


def test_one_may_go_back_to_the_form_with_what_was_filled_in(ines):
    answer = ines.post("/site/policy/", {**sent(**{"intervals.blanket": 6}), "step": "change"})
    assert answer.context["form"]["intervals.blanket"].value() == "6"
    assert "change" not in answer.context


# Rule packs
def test_a_pack_is_adopted_with_the_hash_of_its_file(ines):
    assert adopt(ines).status_code == 302
    entry = Entry.objects.get(kind="pack_adopted")
    assert entry.facts == {
        "v": 1,
        "name": "thirty_day_gloves",
        "version": "1",
        "sha256": packs.load("thirty_day_gloves").sha256,
        "effective_from": "2026-07-01",
        "reason": "the manual says so",
    }
    assert entry.by == ines.person


def test_an_adopted_pack_changes_answers_from_its_day(ines):
    left, right = builders.pair()
    builders.tested(left, right, on=date(2026, 5, 15))
    builders.issued(left, right, on=date(2026, 5, 15))
    fields = {"pack": "thirty_day_gloves 1", "effective_from": FIRST_OF_JULY.isoformat()}
    preview = ines.post("/site/pack/", fields).context["change"]
    assert preview.counts == [(("person", "good", "stop"), 2)]
    adopt(ines)
    for day, verdict, pack in (
        (date(2026, 6, 30), "good", "us_federal 1"),
        (FIRST_OF_JULY, "stop", "thirty_day_gloves 1"),
    ):
        told = queries.answer(left.item_no, queries.question(day))
        assert (told.verdict, told.rule_pack) == (verdict, pack)


def test_a_pack_needs_the_password_too(ines):
    assert errors(adopt(ines, current="a guess"), "confirm")["current"]
    assert not Entry.objects.filter(kind="pack_adopted").exists()


def test_a_pack_that_the_policy_is_laxer_than_is_refused_with_the_places(ines):
    confirmed(ines, sent(effective_from=TODAY, **{"intervals.glove": 3}))
    answer = adopt(ines)
    said = errors(answer)["pack"]
    assert "Glove, Test interval: 3 months is longer than the 30 days of the rule pack" in said
    assert "W. Va. Code R. 36-48-14" in said
    assert not Entry.objects.filter(kind="pack_adopted").exists()


@pytest.mark.parametrize("pack", ["us_federal 2", "../../etc 1", "us_federal", ""])
def test_an_unknown_pack_is_refused(ines, pack):
    assert errors(adopt(ines, pack=pack))["pack"]


def test_the_pack_in_force_is_not_adopted_again(ines):
    assert "counts on that day already" in errors(adopt(ines, pack="us_federal 1"))["__all__"]


def test_a_pack_that_cannot_be_read_is_not_adopted(ines, monkeypatch):
    def altered(*_args, **_kwargs):
        raise packs.PackRefused("thirty_day_gloves.toml has been altered.")

    monkeypatch.setattr(packs, "load", altered)
    answer = adopt(ines)
    assert "missing, altered or incomplete" in errors(answer)["pack"]


def test_rules_that_cannot_be_read_are_said_on_every_page_about_them(ines, monkeypatch):
    def altered(*_args, **_kwargs):
        raise packs.PackRefused("us_federal.toml has been altered.")

    monkeypatch.setattr(packs, "load", altered)
    page = html.unescape(ines.get("/site/").content.decode())
    assert "every answer is CAN'T SAY" in page
    assert "us_federal.toml has been altered" in page
    assert ines.get("/site/policy/").status_code == 503
