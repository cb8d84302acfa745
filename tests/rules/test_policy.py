"""Site policy: stricter than the pack or refused, and the same after a journey through JSON."""

import json
import shutil
from dataclasses import replace
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import packs, policy
from gear.rules.packs import Interval

PACK = packs.load("us_federal")
THIRTY = packs.load("thirty_day_gloves")
TABLE_I5 = "29 CFR 1910.137, read in a course reprint of the table: Table I-5 and footnote 1"


def months(count):
    return Interval(count, "months")


def days(count):
    return Interval(count, "days")


def refused(site, pack=PACK):
    return [(refusal.field, refusal.message_code) for refusal in policy.laxer_fields(site, pack)]


# --- the shipped policy -------------------------------------------------------------------------


def test_the_shipped_policy_sets_12_months_where_the_pack_has_no_clock():
    shipped = policy.from_toml()
    expected = dict.fromkeys(("line_hose", "hood", "rigid_cover", "grounding_jumper"), months(12))
    assert shipped.intervals == expected
    assert shipped.shelf_limits == expected
    assert shipped.source == "common practice, no source"
    assert (shipped.count_from_test, shipped.preuse_stops, shipped.other_holder_stops) == (
        False,
        False,
        False,
    )
    assert shipped.due_soon_days == 28


@pytest.mark.parametrize(("name", "version"), packs.known_packs())
def test_the_shipped_policy_may_stand_on_every_shipped_pack(name, version):
    assert policy.laxer_fields(policy.from_toml(), packs.load(name, version)) == []


def test_an_altered_or_unreadable_shipped_policy_is_refused(tmp_path):
    for file in packs.DEFAULT.glob("S*"):
        shutil.copy(file, tmp_path)
    (tmp_path / policy.SHIPPED).write_text("")
    with pytest.raises(packs.PackRefused, match="has been altered"):
        policy.from_toml(directory=tmp_path)
    with pytest.raises(packs.PackRefused, match="not a readable site policy: name: is no field"):
        policy.from_toml("us_federal.toml")
    with pytest.raises(packs.PackRefused, match="is not listed"):
        policy.from_toml("mine.toml")


# --- stricter only ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "interval", "code"),
    [
        # gloves: 6 months in the pack; the shortest six months have 181 days
        ("glove", months(5), None),
        ("glove", months(6), None),
        ("glove", months(7), "INTERVAL_LAXER"),
        ("glove", days(181), None),
        ("glove", days(182), "INTERVAL_LAXER"),
        ("sleeve", months(12), None),
        ("sleeve", months(13), "INTERVAL_LAXER"),
        ("sleeve", days(365), None),
        ("sleeve", days(366), "INTERVAL_LAXER"),
        ("blanket", months(13), "INTERVAL_LAXER"),
        ("live_line_tool", months(24), None),
        ("live_line_tool", months(25), "INTERVAL_LAXER"),
        # no clock in the pack: any interval is stricter than none
        ("line_hose", months(120), None),
        ("rigid_cover", days(3660), None),
        # counts that are none
        ("glove", months(0), "INTERVAL_ABSURD"),
        ("glove", months(-6), "INTERVAL_ABSURD"),
        ("line_hose", months(121), "INTERVAL_ABSURD"),
        ("line_hose", days(3661), "INTERVAL_ABSURD"),
        ("line_hose", Interval(1, "years"), "INTERVAL_ABSURD"),
        ("line_hose", Interval(True, "months"), "INTERVAL_ABSURD"),
        ("line_hose", Interval("6", "months"), "INTERVAL_ABSURD"),
        ("boots", months(6), "KIND_UNKNOWN"),
    ],
)
def test_an_interval_may_only_be_stricter(kind, interval, code):
    expected = [(f"intervals.{kind}", code)] if code else []
    assert refused(policy.SitePolicy(intervals={kind: interval})) == expected


@pytest.mark.parametrize(
    ("kind", "limit", "code"),
    [
        ("glove", months(12), None),
        ("glove", months(13), "SHELF_LIMIT_LAXER"),
        ("glove", days(366), "SHELF_LIMIT_LAXER"),
        ("line_hose", months(24), None),
        ("boots", months(1), "KIND_UNKNOWN"),
    ],
)
def test_a_shelf_limit_may_only_be_stricter(kind, limit, code):
    expected = [(f"shelf_limits.{kind}", code)] if code else []
    assert refused(policy.SitePolicy(shelf_limits={kind: limit})) == expected


def test_a_refusal_names_the_clause_and_what_is_allowed():
    (refusal,) = policy.laxer_fields(policy.SitePolicy(intervals={"glove": months(7)}), PACK)
    assert refusal.clause == TABLE_I5
    assert refusal.values == {
        "kind": "glove",
        "count": 7,
        "unit": "months",
        "allowed_count": 6,
        "allowed_unit": "months",
    }


def test_the_same_choice_may_stand_on_one_pack_and_be_refused_on_another():
    monthly = policy.SitePolicy(intervals={"glove": months(1)})
    assert refused(monthly) == []
    assert refused(monthly, THIRTY) == [("intervals.glove", "INTERVAL_LAXER")]
    (refusal,) = policy.laxer_fields(monthly, THIRTY)
    assert refusal.clause.startswith("W. Va. Code R. 36-48-14")
    assert refused(policy.SitePolicy(intervals={"glove": days(30)}), THIRTY) == []


def test_every_refusal_is_listed_not_the_first_alone():
    site = policy.SitePolicy(
        intervals={"glove": months(7), "sleeve": months(13)},
        shelf_limits={"glove": months(13)},
        due_soon_days=-1,
    )
    assert [field for field, _ in refused(site)] == [
        "intervals.glove",
        "intervals.sleeve",
        "shelf_limits.glove",
        "due_soon_days",
    ]


@pytest.mark.parametrize(
    ("number", "absurd"), [(-1, True), (0, False), (28, False), (366, False), (367, True), (True, True)]
)
def test_days_of_warning(number, absurd):
    assert bool(refused(policy.SitePolicy(due_soon_days=number))) is absurd


@pytest.mark.parametrize("flag", policy.FLAG_FIELDS)
def test_the_switches_only_ever_make_it_stricter(flag):
    assert refused(policy.SitePolicy(**{flag: True})) == []


@pytest.mark.parametrize(
    ("interval", "limit", "later"),
    [
        (days(28), months(1), False),
        (days(29), months(1), True),
        (days(30), months(1), True),
        (months(1), days(30), True),
        (months(1), days(31), False),
        (months(12), days(365), True),
        (months(12), days(366), False),
        # no leap day round 2100: four years can have 1460 days
        (days(1461), months(48), True),
        (days(1460), months(48), False),
        (days(30), days(30), False),
        (days(31), days(30), True),
    ],
)
def test_ever_later_at_the_edges(interval, limit, later):
    assert policy.ever_later(interval, limit) is later


@given(
    count=st.integers(1, 36), number=st.integers(1, 1200), start=st.dates(date(2000, 1, 1), date(2150, 1, 1))
)
def test_no_start_day_contradicts_ever_later(count, number, start):
    """Independent arithmetic over starts far outside the days that the rule itself looks at."""
    by_months, by_days = start + relativedelta(months=count), start + timedelta(days=number)
    if by_days > by_months:
        assert policy.ever_later(days(number), months(count))
    if by_months > by_days:
        assert policy.ever_later(months(count), days(number))


# --- storage ------------------------------------------------------------------------------------

INTERVALS = st.dictionaries(
    st.sampled_from(packs.KINDS),
    st.builds(Interval, st.integers(1, 120), st.sampled_from(("months", "days"))),
    max_size=5,
)


@given(
    site=st.builds(
        policy.SitePolicy,
        intervals=INTERVALS,
        shelf_limits=INTERVALS,
        count_from_test=st.booleans(),
        preuse_stops=st.booleans(),
        other_holder_stops=st.booleans(),
        due_soon_days=st.integers(0, 366),
        source=st.text(min_size=1).filter(str.strip),
    )
)
def test_a_policy_comes_back_from_json_unchanged(site):
    assert policy.parse(json.loads(json.dumps(policy.to_json(site)))) == site


WHOLE = policy.to_json(policy.from_toml())


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"speed": 1}, "speed"),
        ({"count_from_test": 1}, "count_from_test"),
        ({"preuse_stops": "yes"}, "preuse_stops"),
        ({"other_holder_stops": None}, "other_holder_stops"),
        ({"due_soon_days": "28"}, "due_soon_days"),
        ({"due_soon_days": True}, "due_soon_days"),
        ({"source": " "}, "source"),
        ({"source": 1}, "source"),
        ({"intervals": []}, "intervals"),
        ({"intervals": {"glove": 6}}, "intervals.glove"),
        ({"intervals": {"glove": {"count": 6}}}, "intervals.glove"),
        ({"intervals": {"glove": {"count": 6, "unit": "years"}}}, "intervals.glove"),
        ({"intervals": {"glove": {"count": 0, "unit": "months"}}}, "intervals.glove"),
        ({"intervals": {"glove": {"count": 121, "unit": "months"}}}, "intervals.glove"),
        ({"intervals": {"glove": {"count": 6.0, "unit": "months"}}}, "intervals.glove"),
        ({"shelf_limits": {"glove": {"count": True, "unit": "months"}}}, "shelf_limits.glove"),
    ],
)
def test_a_policy_with_a_fault_is_refused_and_the_field_named(changes, field):
    with pytest.raises(policy.PolicyRefused) as caught:
        policy.parse({**WHOLE, **changes})
    assert caught.value.field == field
    assert str(caught.value).startswith(f"{field}: ")


@pytest.mark.parametrize("field", sorted(set(policy.FIELDS) - set(policy.LATER_FIELDS)))
def test_a_policy_read_half_is_no_policy(field):
    with pytest.raises(policy.PolicyRefused) as caught:
        policy.parse({name: value for name, value in WHOLE.items() if name != field})
    assert caught.value.field == field


def test_a_policy_cannot_be_changed_by_whoever_holds_it():
    chosen = {"glove": months(3)}
    site = policy.SitePolicy(intervals=chosen)
    chosen["glove"] = months(6)
    assert site.intervals["glove"] == months(3)
    with pytest.raises(TypeError):
        site.intervals["glove"] = months(6)
    assert replace(site, count_from_test=True).intervals == site.intervals


def test_a_policy_from_before_phones_means_twelve_hours_and_none_may_be_longer():
    """Common practice, no source: one long shift."""
    older = {name: value for name, value in WHOLE.items() if name != "phone_hours"}
    assert policy.parse(older).phone_hours == 12
    for hours, refused_ in ((1, False), (12, False), (0, True), (13, True), (-1, True)):
        fields = [one.field for one in policy.laxer_fields(policy.SitePolicy(phone_hours=hours), PACK)]
        assert (fields == ["phone_hours"]) is refused_
    for wrong in ("12", True, 6.5):
        with pytest.raises(policy.PolicyRefused) as caught:
            policy.parse({**WHOLE, "phone_hours": wrong})
        assert caught.value.field == "phone_hours"
