"""May this item be used on this day? Every reason, its first and last day, worst first, and nothing good by default."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from gear.rules import packs, policy
from gear.rules.blocks import OF_THE_INSTALLATION, OWN_BLOCKS
from gear.rules.readiness import BLOCKS, OVERRIDING, Reason, Rules, SetFacts, decide, refused
from tests.rules.histories import (
    DEV,
    FEDERAL,
    JUDGED_AS,
    SHELF,
    TRUCK,
    entry,
    folded,
    issued,
    mate_of,
    received,
    tested,
)

JAN, FEB, MAR = date(2026, 1, 1), date(2026, 2, 1), date(2026, 3, 1)
LAST_DAY = date(2026, 6, 30)  # a glove tested on 1 Jan after its first issue: six months, less a day
ONE_DAY = timedelta(days=1)
PAIR = SetFacts("P-1", "pair", 2)
REFUSED = Rules(None, policy.SitePolicy(), "the file was altered")


def glove(*more, **identity):
    """A glove in Dev's hands, tested on 1 Jan 2026."""
    return folded(received(**identity), issued(on=date(2025, 7, 1)), tested(on=JAN), *more)


def asked(facts, *, as_of=MAR, rules=FEDERAL, mates=None, gear_set=PAIR, **given):
    """The answer about an item; a glove is answered with a mate of the same history unless told otherwise."""
    mates = [mate_of(facts)] if mates is None else mates
    return decide(facts, rules, as_of=as_of, mates=mates, gear_set=gear_set, **given)


def codes(answer):
    return [reason.code for reason in answer.reasons]


def test_a_glove_in_date_with_its_mate_is_good_and_says_until_when_and_by_which_clock():
    answer = asked(glove())
    assert (answer.verdict, answer.reasons) == ("good", ())
    assert (answer.good_through, answer.winning_clock, answer.runner_up) == (LAST_DAY, "last_test+6", None)
    assert (answer.kind, answer.cls, answer.max_use_v, answer.rule_pack) == (
        "glove",
        "2",
        17000,
        "us_federal 1",
    )


# Every reason
def trouble(code):
    return asked(glove(), trouble=[Reason(code, "internal control")])


STRICT = Rules(FEDERAL.pack, replace(FEDERAL.policy, preuse_stops=True, other_holder_stops=True))
CASES = {
    "PACK_REFUSED": lambda: asked(glove(), rules=REFUSED),
    "CHAIN_BROKEN": lambda: trouble("CHAIN_BROKEN"),
    "CLOCK_BEHIND": lambda: trouble("CLOCK_BEHIND"),
    "RESTORED": lambda: trouble("RESTORED"),
    "LABEL_REPLACED": lambda: trouble("LABEL_REPLACED"),
    "NOT_IN_BOOK": lambda: refused("G-9", "NOT_IN_BOOK", as_of=MAR, rules=FEDERAL),
    "LABEL_UNREADABLE": lambda: refused("", "LABEL_UNREADABLE", as_of=MAR, rules=FEDERAL, problem="check"),
    "DESTROYED": lambda: asked(glove(entry("destroyed", reason="cut up", witness="ines", on=FEB))),
    "REJECTED": lambda: asked(glove(entry("rejected", reason="torn", on=FEB))),
    "RECORD_UNREADABLE": lambda: asked(replace(glove(), unreadable=["x"])),
    "UNKNOWN_KIND": lambda: asked(glove(kind="mitten"), mates=[]),
    "NO_RULE_FOR_KIND": lambda: asked(glove(), rules=without_rule("glove")),
    "NOT_YET_RECEIVED": lambda: asked(replace(glove(), holder=None)),
    "EVIDENCE": lambda: asked(glove(entry("held", reason="contact", evidence=True, on=FEB))),
    "HELD": lambda: asked(glove(entry("held", reason="odd smell", on=FEB))),
    "LOST": lambda: asked(glove(entry("lost", reason="not on the truck", on=FEB))),
    "FAILED_TEST": lambda: asked(glove(tested("failed", on=FEB))),
    "DAMAGED": lambda: asked(
        glove(entry("inspected", outcome="reject", scope="pre_use", words=["cut"], on=FEB))
    ),
    "NEEDS_TEST": lambda: asked(glove(entry("event", event="used_without_protectors", on=FEB))),
    "OUT_FOR_REPAIR": lambda: asked(glove(entry("sent_for_repair", reason="patch", on=FEB))),
    "OUT_FOR_TEST": lambda: asked(glove(entry("sent_for_test", on=FEB))),
    "NEVER_TESTED": lambda: asked(folded(received())),
    "TEST_NOT_JUDGED": lambda: asked(glove(tested("unjudged", on=FEB))),
    "JUDGED_AS_OTHER": lambda: asked(glove(tested(on=FEB, judged_as={**JUDGED_AS, "class": "1"}))),
    "OUT_OF_DATE": lambda: asked(glove(), as_of=LAST_DAY + ONE_DAY),
    "SHELF_LIMIT": lambda: asked(folded(received(), tested(on=JAN)), as_of=date(2027, 1, 1)),
    "SET_NOT_COMPLETE": lambda: asked(glove(), mates=[]),
    "NEEDS_CLEANING": lambda: asked(
        glove(entry("needs_cleaning", reason="tar", on=FEB)), mates=[mate_of(glove())]
    ),
    "NOT_INSPECTED": lambda: asked(glove(), rules=STRICT),
    "OTHER_HOLDER": lambda: asked(looked_at(MAR), rules=STRICT, asked_by="Marisol"),
    "NOT_INSPECTED_TODAY": lambda: asked(glove()),
    "DUE_SOON": lambda: asked(glove(), as_of=LAST_DAY),
}


def looked_at(on):
    return glove(entry("inspected", outcome="accept", scope="pre_use", on=on))


def without_rule(kind):
    """A pack that knows the kind but has neither an interval nor a "no clock" row for it."""

    class Half:
        def __init__(self, pack):
            self.pack = pack

        def __getattr__(self, name):
            return getattr(self.pack, name)

        def kind_rule(self, asked_kind):
            rule = self.pack.kind_rule(asked_kind)
            return replace(rule, interval=None, no_clock=False) if asked_kind == kind else rule

    return Rules(Half(FEDERAL.pack), FEDERAL.policy)


def test_every_reason_has_a_case_here_and_a_source_in_the_pack():
    """But for those that packs adopted before them could not tell of: these bring their own."""
    assert set(CASES) == set(BLOCKS) == {*packs.BLOCK_CODES, *OWN_BLOCKS, *OF_THE_INSTALLATION}
    assert not {*OWN_BLOCKS} & {*packs.BLOCK_CODES}
    for code in packs.BLOCK_CODES:
        assert FEDERAL.pack.block_source(code)


@pytest.mark.parametrize("code", BLOCKS)
def test_every_reason_gives_its_verdict(code):
    answer = CASES[code]()
    effect = BLOCKS[code][1]
    if effect == "note":
        assert (answer.verdict, codes(answer)) == ("good", [])
        assert code in [note.code for note in answer.notes]
        return
    assert codes(answer)[0] == code
    assert answer.verdict == effect
    assert answer.reasons[0].source


def test_what_makes_nothing_reliable_outranks_every_stop_in_the_verdict():
    facts = glove(entry("destroyed", reason="cut up", witness="ines", on=FEB))
    for code in OVERRIDING:
        assert asked(facts, trouble=[Reason(code)]).verdict == "unknown"
    assert asked(facts, trouble=[Reason("LABEL_REPLACED")]).verdict == "stop"


def test_an_unjudged_test_of_a_held_item_is_a_stop_with_both_reasons():
    answer = asked(
        glove(tested("unjudged", on=FEB), entry("held", reason="x", on=FEB)), mates=[mate_of(glove())]
    )
    assert (answer.verdict, codes(answer)) == ("stop", ["HELD", "TEST_NOT_JUDGED"])


# The order of what blocks an item from a truck, worst first.
ORDER = [
    "PACK_REFUSED",
    "CHAIN_BROKEN",
    "CLOCK_BEHIND",
    "RESTORED",
    "DESTROYED",
    "REJECTED",
    "NOT_IN_BOOK",
    "LABEL_UNREADABLE",
    "LABEL_REPLACED",
    "RECORD_UNREADABLE",
    "UNKNOWN_KIND",
    "NO_RULE_FOR_KIND",
    "NOT_YET_RECEIVED",
    "EVIDENCE",
    "HELD",
    "LOST",
    "FAILED_TEST",
    "DAMAGED",
    "NEEDS_TEST",
    "OUT_FOR_REPAIR",
    "OUT_FOR_TEST",
    "NEVER_TESTED",
    "TEST_NOT_JUDGED",
    "JUDGED_AS_OTHER",
    "OUT_OF_DATE",
    "SHELF_LIMIT",
    "SET_NOT_COMPLETE",
    "NEEDS_CLEANING",
    "NOT_INSPECTED",
    "OTHER_HOLDER",
    "NOT_INSPECTED_TODAY",
    "DUE_SOON",
]


def test_the_reasons_are_ranked_as_the_job_ranks_them():
    assert sorted(BLOCKS, key=lambda code: BLOCKS[code][0]) == ORDER
    assert len({rank for rank, _effect in BLOCKS.values()}) == len(BLOCKS)


def test_every_reason_that_holds_is_listed_worst_first_and_none_hides_another():
    facts = glove(
        entry("needs_cleaning", reason="tar", on=FEB),
        tested("failed", on=FEB),
        entry("event", event="dropped", on=FEB),
        entry("event", event="suspect", on=FEB),
        entry("held", reason="a", on=FEB),
        entry("held", reason="b", on=FEB),
        entry("lost", reason="?", on=FEB),
        entry("rejected", reason="torn", on=FEB),
        entry("destroyed", reason="cut up", witness="ines", on=FEB),
        entry("sent_for_repair", reason="?", on=FEB),
        entry("sent_for_test", on=FEB),
        entry("inspected", outcome="reject", scope="pre_use", on=FEB),
    )
    answer = asked(facts, mates=[], rules=STRICT, asked_by="Marisol", trouble=[Reason("LABEL_REPLACED")])
    assert codes(answer) == [
        "DESTROYED",
        "REJECTED",
        "LABEL_REPLACED",
        "HELD",
        "HELD",
        "LOST",
        "FAILED_TEST",
        "DAMAGED",
        "NEEDS_TEST",
        "NEEDS_TEST",
        "OUT_FOR_REPAIR",
        "OUT_FOR_TEST",
        "SET_NOT_COMPLETE",
        "NEEDS_CLEANING",
        "NOT_INSPECTED",
        "OTHER_HOLDER",
    ]


# What the test was of
@pytest.mark.parametrize(
    ("judged_as", "field"),
    [
        (JUDGED_AS, None),
        ({"kind": "glove", "class": "2"}, None),
        ({**JUDGED_AS, "class": "1"}, "class"),
        ({**JUDGED_AS, "length_mm": 410}, "length_mm"),
        ({**JUDGED_AS, "kind": "sleeve"}, "kind"),
        ({"class": "2"}, "kind"),
        ({"kind": "glove"}, "class"),
        ({}, "kind"),
    ],
)
def test_a_test_speaks_only_for_what_it_was_judged_as(judged_as, field):
    facts = glove(tested(on=FEB, judged_as=judged_as))
    answer = asked(facts, mates=[mate_of(glove())])
    assert (answer.verdict, codes(answer)) == (("stop", ["JUDGED_AS_OTHER"]) if field else ("good", []))
    if field:
        assert answer.reasons[0].values == {"field": field, "on": FEB}


@pytest.mark.parametrize("cls", [None, "5", "", "02"])
def test_a_class_that_the_kind_does_not_have_is_never_good(cls):
    facts = folded(
        received(**{"class": cls}), issued(on=JAN), tested(on=FEB, judged_as={**JUDGED_AS, "class": cls})
    )
    answer = asked(facts)
    assert (answer.verdict, answer.max_use_v) == ("stop", None)
    assert codes(answer)[0] == "JUDGED_AS_OTHER"


def test_no_accepted_test_says_why_the_last_one_did_not_count():
    facts = folded(received(), tested("void", on=FEB, codes=[{"code": "TOO_SHORT"}]))
    assert asked(facts).reasons[0].values == {"void_on": FEB, "codes": [{"code": "TOO_SHORT"}]}
    assert asked(folded(received())).reasons[0].values == {}


def test_a_kind_without_an_electrical_test_is_good_once_it_was_looked_at_and_accepted():
    new = received("protector", **{"class": None, "hand": None})
    answer = decide(folded(new), FEDERAL, as_of=MAR)
    assert (answer.verdict, codes(answer)) == ("stop", ["NEVER_TESTED"])
    looked_at = tested(on=FEB, judged_as={"kind": "protector"})
    answer = decide(folded(new, looked_at), FEDERAL, as_of=MAR)
    assert (answer.verdict, answer.good_through) == ("good", None)


def test_an_unknown_kind_is_unknown_and_nothing_breaks():
    for kind in (None, "", "mitten"):
        facts = folded(received(kind=kind), entry("event", event="dropped", on=FEB))
        answer = decide(facts, FEDERAL, as_of=MAR)
        assert (answer.verdict, codes(answer)) == ("unknown", ["UNKNOWN_KIND", "NEEDS_TEST"])


def test_a_kind_that_a_pack_leaves_out_is_unknown():
    class Empty:
        label = "empty 1"

        def kind_rule(self, _kind):
            return None

        def max_use_v(self, _kind, _cls):
            return None

        def block_source(self, code):
            return code

    answer = decide(folded(received("blanket")), Rules(Empty(), policy.SitePolicy()), as_of=MAR)
    assert (answer.verdict, codes(answer)) == ("unknown", ["NO_RULE_FOR_KIND"])


# Site policy
@pytest.mark.parametrize(
    ("checked_on", "found"), [(MAR, []), (MAR - ONE_DAY, ["NOT_INSPECTED"]), (None, ["NOT_INSPECTED"])]
)
def test_a_site_may_make_the_look_before_use_a_condition(checked_on, found):
    facts = looked_at(checked_on) if checked_on else glove()
    answer = asked(facts, rules=STRICT)
    assert codes(answer) == found
    assert "NOT_INSPECTED_TODAY" not in [note.code for note in answer.notes]
    lenient = [note.code for note in asked(facts).notes]
    assert ("NOT_INSPECTED_TODAY" in lenient) is bool(found)


@pytest.mark.parametrize(
    ("holder", "asked_by", "stops"),
    [
        (DEV, "Marisol", True),
        (DEV, "Dev", False),
        (DEV, None, False),
        (TRUCK, "Marisol", False),
        (SHELF, "Marisol", False),
    ],
)
def test_a_site_may_forbid_another_persons_gear(holder, asked_by, stops):
    facts = replace(looked_at(MAR), holder=holder)
    assert ("OTHER_HOLDER" in codes(asked(facts, rules=STRICT, asked_by=asked_by))) is stops
    noted = asked(facts, asked_by=asked_by)
    assert "OTHER_HOLDER" not in codes(noted)
    assert ("OTHER_HOLDER" in [note.code for note in noted.notes]) is stops


def test_nobody_holds_what_was_not_received():
    facts = replace(looked_at(MAR), holder=None)
    assert "OTHER_HOLDER" not in codes(asked(facts, rules=STRICT, asked_by="Marisol"))


# Without rules
def test_without_rules_nothing_is_said_of_any_item():
    answer = asked(glove(), rules=REFUSED, trouble=[Reason("CHAIN_BROKEN")])
    assert (answer.verdict, codes(answer)) == ("unknown", ["PACK_REFUSED", "CHAIN_BROKEN"])
    assert (answer.good_through, answer.clocks, answer.rule_pack) == (None, (), "")
    assert answer.reasons[0].values == {"why": "the file was altered"}


def test_what_cannot_be_looked_at_is_refused_with_its_source_where_there_are_rules():
    answer = refused("G-9", "NOT_IN_BOOK", as_of=MAR, rules=FEDERAL)
    assert (answer.verdict, answer.rule_pack) == ("unknown", "us_federal 1")
    assert answer.reasons[0].source == FEDERAL.pack.block_source("NOT_IN_BOOK")
    for rules in (None, REFUSED):
        answer = refused("G-9", "NOT_IN_BOOK", as_of=MAR, rules=rules)
        assert (answer.verdict, answer.rule_pack, answer.reasons[0].source) == (
            "unknown",
            "",
            "internal control",
        )
    assert refused("G-9", "LABEL_REPLACED", as_of=MAR).verdict == "stop"
