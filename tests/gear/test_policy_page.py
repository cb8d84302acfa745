"""A site may be stricter than its rule pack, from a day on, never laxer and never into the past."""

import html
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from gear import queries
from gear.actions import policy as acts
from gear.actions.acting import Act
from gear.actions.passwords import PasswordRefused
from gear.actions.policy import RulesRefused
from gear.models import Entry, Refusal
from gear.permissions import NotAllowed
from gear.queries import site_rules
from gear.rules import packs, policy
from gear.rules.packs import Interval
from gear.rules.policy import SitePolicy
from tests.gear.policy_pages import (
    FIRST_OF_JULY,
    TODAY,
    adopt,
    confirmed,
    errors,
    held_blanket,
    sent,
    signed_in,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("fifteenth_of_june")]


# Twelve months become six from 1 July


def test_a_shorter_interval_counts_from_its_day_and_not_the_day_before(ines):
    blanket = held_blanket(tested_on=date(2025, 12, 15))  # 12 months: 14 Dec 2026; 6 months: 14 Jun 2026
    before = queries.answer(blanket.item_no, queries.question(date(2026, 6, 30)))
    answer = confirmed(ines, sent(**{"intervals.blanket": 6}))
    assert answer.status_code == 302
    for day, verdict, good_through in (
        (date(2026, 6, 30), "good", date(2026, 12, 14)),
        (FIRST_OF_JULY, "stop", date(2026, 6, 14)),
    ):
        told = queries.answer(blanket.item_no, queries.question(day))
        assert (told.verdict, told.good_through) == (verdict, good_through)
    assert queries.answer(blanket.item_no, queries.question(date(2026, 6, 30))) == before


def test_the_past_is_asked_again_with_the_rules_of_then(ines):
    blanket = held_blanket(tested_on=date(2025, 12, 15))
    known_before = datetime.now(UTC)
    confirmed(ines, sent(**{"intervals.blanket": 6}))
    with time_machine.travel(datetime(2026, 9, 1, 16, tzinfo=UTC)):
        now = queries.answer(blanket.item_no, queries.question())
        june = queries.answer(blanket.item_no, queries.question(date(2026, 6, 30)))
        july = queries.question(FIRST_OF_JULY, known_at=known_before)
        as_known_in_june = queries.answer(blanket.item_no, july)
    assert (now.verdict, june.verdict, as_known_in_june.verdict) == ("stop", "good", "good")


def test_lists_say_the_same_as_single_answers_on_the_day_it_begins(ines):
    blankets = [held_blanket(tested_on=date(2025, 12, 15) + timedelta(days=days)) for days in range(0, 60, 7)]
    confirmed(ines, sent(**{"intervals.blanket": 6}))
    with time_machine.travel(datetime(2026, 7, 1, 16, tzinfo=UTC)):
        listed = {answer.item_no: answer for answer, _facts in queries.fleet(queries.question())}
        for blanket in blankets:
            assert listed[blanket.item_no] == queries.answer(blanket.item_no, queries.question())


# Who decided, and why, is kept


def test_what_is_recorded_is_the_whole_policy_with_day_and_reason(ines):
    confirmed(ines, sent(**{"intervals.blanket": 6}), reason="  safety   manual 4.2 ")
    entry = Entry.objects.get(kind="policy_set")
    assert (entry.by, entry.item, entry.gear_set) == (ines.person, None, None)
    assert entry.facts["effective_from"] == "2026-07-01"
    assert entry.facts["reason"] == "safety manual 4.2"
    stated = policy.parse(entry.facts["policy"])
    assert stated.intervals["blanket"] == Interval(6, "months")
    assert stated.intervals["line_hose"] == Interval(12, "months")  # what the form showed is kept


def test_the_page_shows_what_counts_what_comes_and_who_decided(ines):
    confirmed(ines, sent(**{"intervals.blanket": 6}), reason="safety manual 4.2")
    page = html.unescape(ines.get("/site/").content.decode())
    for words in (
        "us_federal 1",
        "test interval 12 months, shelf limit 12 months",
        "1 JUL 2026",
        "to come",
        "ines",
        "safety manual 4.2",
    ):
        assert words in page
    with time_machine.travel(datetime(2026, 7, 1, 16, tzinfo=UTC)):
        page = html.unescape(signed_in(ines.person).get("/site/").content.decode())
    assert "test interval 6 months" in page
    assert "in force" in page


def test_the_page_of_an_auditor_offers_no_change(cast):
    page = signed_in(cast.halvard).get("/site/").content.decode()
    assert "Rules of this site" in page
    assert "/site/policy/" not in page


# Stricter only


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("intervals.glove", 7, "7 months is longer than the 6 months of the rule pack"),
        ("intervals.sleeve", 13, "13 months is longer than the 12 months of the rule pack"),
        ("intervals.blanket", 13, "13 months is longer than the 12 months"),
        ("shelf_limits.glove", 13, "13 months on the shelf is longer than the 12 months of the rule pack"),
    ],
)
def test_a_laxer_choice_is_refused_beside_its_field_with_the_clause_it_would_break(ines, field, value, said):
    answer = ines.post("/site/policy/", sent(**{field: value}))
    rule = packs.load("us_federal").kind_rule(field.split(".")[1])
    assert said in errors(answer)[field]
    assert rule.source in errors(answer)[field]
    assert list(errors(answer)) == [field]
    assert not Entry.objects.filter(kind="policy_set").exists()


def test_days_are_compared_with_months_in_the_stricter_direction(ines):
    """181 days begun on 1 March end before 6 months do; begun on 1 September, after them."""
    answer = ines.post("/site/policy/", sent(**{"intervals.glove": 182, "intervals.glove.unit": "days"}))
    assert "182 days is longer than the 6 months" in errors(answer)["intervals.glove"]
    allowed = ines.post("/site/policy/", sent(**{"intervals.glove": 180, "intervals.glove.unit": "days"}))
    assert "form" in allowed.context
    assert errors(allowed) == {}


def test_every_laxer_choice_is_said_at_once(ines):
    answer = ines.post("/site/policy/", sent(**{"intervals.glove": 7, "intervals.sleeve": 24}))
    assert set(errors(answer)) == {"intervals.glove", "intervals.sleeve"}


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"intervals.glove": 0}, "intervals.glove"),
        ({"intervals.glove": -6}, "intervals.glove"),
        ({"intervals.glove": "six"}, "intervals.glove"),
        ({"intervals.glove": "1.5"}, "intervals.glove"),
        ({"intervals.glove": "NaN"}, "intervals.glove"),
        ({"intervals.glove": 99999}, "intervals.glove"),
        ({"intervals.glove": 3, "intervals.glove.unit": "weeks"}, "intervals.glove.unit"),
        ({"intervals.hood": 121}, "intervals.hood"),
        ({"due_soon_days": 367}, "due_soon_days"),
        ({"due_soon_days": -1}, "due_soon_days"),
        ({"effective_from": "2026-06-14"}, "effective_from"),
        ({"effective_from": "1 July"}, "effective_from"),
        ({"effective_from": "2036-07-01"}, "effective_from"),
        ({"effective_from": ""}, "effective_from"),
        ({"source": "   "}, "source"),
    ],
)
def test_what_cannot_be_right_is_refused_beside_its_field(ines, changes, field):
    answer = ines.post("/site/policy/", {**sent(), **changes})
    assert answer.status_code == 200
    assert field in errors(answer)


@pytest.mark.parametrize("step", ["preview", "confirm"])
def test_yesterday_is_refused_at_every_step(ines, step):
    fields = sent(effective_from=TODAY - timedelta(days=1), **{"intervals.blanket": 6})
    answer = confirmed(ines, fields, step=step)
    assert "what was told before cannot be changed" in errors(answer)["effective_from"]
    assert not Entry.objects.filter(kind="policy_set").exists()


def test_today_is_allowed_and_counts_at_once(ines):
    blanket = held_blanket(tested_on=date(2025, 12, 14))
    confirmed(ines, sent(effective_from=TODAY, **{"intervals.blanket": 6}))
    assert queries.answer(blanket.item_no, queries.question()).verdict == "stop"


def test_the_day_is_the_days_of_the_site_not_of_greenwich(ines):
    with time_machine.travel(datetime(2026, 6, 16, 2, tzinfo=UTC)):  # 22:00 on the 15th at the site
        assert acts.today() == TODAY


def test_a_policy_that_changes_nothing_is_not_recorded(ines):
    answer = ines.post("/site/policy/", sent())
    assert "counts on that day already" in errors(answer)["__all__"]


def test_a_policy_laxer_than_a_pack_that_is_due_to_follow_is_refused(ines):
    adopt(ines, effective_from=date(2026, 9, 1))
    answer = ines.post("/site/policy/", sent(**{"intervals.glove": 3}))
    assert "From 1 SEP 2026 on: 3 months is longer than the 30 days" in errors(answer)["intervals.glove"]


# Who, with the password again


@pytest.mark.parametrize("name", ["orla", "dev", "bertrand", "halvard"])
def test_nobody_else_sets_the_policy(cast, name):
    person = getattr(cast, name)
    client = signed_in(person)
    assert client.get("/site/policy/").status_code == 403
    assert confirmed(client, sent(**{"intervals.blanket": 6})).status_code == 403
    with pytest.raises(NotAllowed):
        acts.set_policy(
            SitePolicy(),
            effective_from=FIRST_OF_JULY,
            reason="x",
            password=f"{name} keeps a secret",
            seen=site_rules.version(),
            act=Act(person),
        )
    assert not Entry.objects.filter(kind="policy_set").exists()


@pytest.mark.parametrize("current", ["", "ines keeps no secret"])
def test_an_open_session_is_not_enough(ines, current):
    answer = confirmed(ines, sent(**{"intervals.blanket": 6}), current=current)
    assert errors(answer, "confirm")["current"]
    assert not Entry.objects.filter(kind="policy_set").exists()


def test_guessing_the_password_through_an_open_session_is_slow(ines, cast):
    fields = sent(**{"intervals.blanket": 6})
    for guess in range(5):
        confirmed(ines, fields, current=f"guess {guess}")
    answer = confirmed(ines, fields)
    assert "Wait a minute" in errors(answer, "confirm")["current"]
    assert confirmed(signed_in(cast.pim), fields).status_code == 302  # others are not slowed
    with time_machine.travel(datetime(2026, 6, 15, 16, 2, tzinfo=UTC)):
        again = confirmed(ines, sent(**{"intervals.blanket": 5}))
    assert again.status_code == 302


def test_a_reason_is_needed(ines):
    answer = confirmed(ines, sent(**{"intervals.blanket": 6}), reason="  ")
    assert errors(answer, "confirm")["reason"]
    assert not Entry.objects.filter(kind="policy_set").exists()


def test_a_preview_that_is_no_longer_true_is_shown_again(ines, cast):
    fields, seen = sent(**{"intervals.blanket": 6}), site_rules.version()
    confirmed(signed_in(cast.pim), sent(**{"intervals.sleeve": 6}))
    answer = confirmed(ines, fields, seen=seen)
    assert "by somebody else meanwhile" in errors(answer, "confirm")["__all__"]
    assert Entry.objects.filter(kind="policy_set").count() == 1
    assert confirmed(ines, fields, seen=answer.context["seen"]).status_code == 302


def test_the_act_itself_refuses_what_no_form_would_send(cast):
    def attempt(chosen, day):
        return acts.set_policy(
            chosen,
            effective_from=day,
            reason="x",
            password="pim keeps a secret",
            seen=site_rules.version(),
            act=Act(cast.pim),
        )

    laxer = SitePolicy(intervals={"glove": Interval(12, "months")})
    for chosen, day, code in (
        (laxer, FIRST_OF_JULY, "LAXER"),
        (SitePolicy(), TODAY - timedelta(days=1), "IN_THE_PAST"),
        (policy.from_toml(), FIRST_OF_JULY, "NOTHING_CHANGES"),
    ):
        with pytest.raises(RulesRefused) as refusal:
            attempt(chosen, day)
        assert refusal.value.code == code
        assert Refusal.objects.filter(code=code, by=cast.pim).exists()
    with pytest.raises(PasswordRefused):
        acts.set_policy(
            SitePolicy(), effective_from=FIRST_OF_JULY, reason="x", password="?", seen="", act=Act(cast.pim)
        )
    assert not Entry.objects.filter(kind="policy_set").exists()
