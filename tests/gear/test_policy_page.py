"""A site may be stricter than its rule pack, from a day on, never laxer and never into the past."""

import html
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.test import Client

from gear import queries
from gear.actions import policy as acts
from gear.actions.acting import Act
from gear.actions.passwords import PasswordRefused
from gear.actions.policy import RulesRefused
from gear.forms.policy import PolicyForm, filled_with
from gear.models import Entry, Refusal
from gear.permissions import NotAllowed
from gear.queries import site_rules
from gear.rules import packs, policy
from gear.rules.packs import Interval
from gear.rules.policy import SitePolicy
from tests import builders

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)
FIRST_OF_JULY = date(2026, 7, 1)


@pytest.fixture(autouse=True)
def fifteenth_of_june():
    with time_machine.travel(datetime(2026, 6, 15, 16, tzinfo=UTC), tick=True):
        yield


@pytest.fixture
def ines(cast):
    return signed_in(cast.ines)


def signed_in(person):
    client = Client()
    client.force_login(person)
    client.person = person
    return client


def sent(chosen=None, *, effective_from=FIRST_OF_JULY, **changes):
    """The form as the page would send it, for a policy (the shipped one) with some fields changed."""
    values = filled_with(chosen or policy.from_toml())
    form = PolicyForm(pack=packs.load("us_federal"), initial=values)
    filled = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()}
    filled |= {name: "months" for name in filled if name.endswith(".unit") and not filled[name]}
    filled |= {"effective_from": effective_from.isoformat(), **changes}
    return {name: value for name, value in filled.items() if value not in (None, False, "")}


def confirmed(client, fields, *, address="/site/policy/", **changes):
    confirmation = {
        "step": "confirm",
        "seen": site_rules.version(),
        "reason": "the manual says so",
        "current": f"{client.person.username} keeps a secret",
    }
    return client.post(address, {**fields, **confirmation, **changes})


def errors(answer, form="form"):
    return {
        field: " ".join(html.unescape(str(one)) for one in said)
        for field, said in answer.context[form].errors.items()
    }


def held_blanket(*, tested_on, item_no=None):
    """In the hands of a worker since the day of its test. The pack: 12 months from the test."""
    made = builders.blanket(item_no)
    builders.tested(made, on=tested_on)
    builders.issued(made, on=tested_on)
    return made


# FEATURES 4: 12 months become 6 from 1 July


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


# Rule packs


def adopt(client, *, pack="thirty_day_gloves 1", effective_from=FIRST_OF_JULY, **changes):
    fields = {"pack": pack, "effective_from": effective_from.isoformat()}
    return confirmed(client, fields, address="/site/pack/", **changes)


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
