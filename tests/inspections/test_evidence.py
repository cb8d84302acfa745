"""Tests of a piece that is kept as evidence: none is made here, and what a lab sends is kept and clears nothing."""

from decimal import Decimal

import pytest

from gear import queries as gear_queries
from gear.actions import condition
from gear.actions.acting import Act, Refused
from gear.ledger.verify import verify
from gear.models import Entry, EvidenceKept, Item, ItemState
from inspections.actions import labfiles as acts
from inspections.actions import leaving
from inspections.actions.bench_judging import BenchRefused
from inspections.actions.bench_posting import post
from inspections.actions.corrections import correct_test
from inspections.actions.testing import log_test
from inspections.models import BenchRow, ElectricalTest
from inspections.rules.acceptance import Reading
from inspections.rules.testfacts import Paper
from tests import builders
from tests.inspections import labfiles, visiting
from tests.inspections.bench_day import day, in_service, typed

pytestmark = pytest.mark.django_db
WHY = "contact at pole 7"


def keep(item, cast):
    return condition.keep_evidence(item, reason=WHY, act=Act(cast.ines))


def codes(item):
    told = gear_queries.answer(item.item_no, gear_queries.question())
    return told.verdict, [reason.code for reason in told.reasons]


def reading(**stated):
    usual = {"tested_on": builders.today(), "purpose": "in_service", "supply": "ac", "applied_v": 20000,
             "seconds": 60, "leakage_ma": Decimal("12"), "visual": "accept"}  # fmt: skip
    return Reading(**{**usual, **stated})


def test_orla_cannot_log_a_test_of_it(cast):
    glove = in_service()[0]
    keep(glove, cast)
    with pytest.raises(Refused) as refused:
        log_test(glove, reading(), act=Act(cast.orla))
    assert refused.value.code == "KEPT_AS_EVIDENCE"
    assert not ElectricalTest.objects.exists()


def test_it_goes_on_no_bench(cast):
    (glove,) = in_service()
    keep(glove, cast)
    session = day(cast.orla)
    with pytest.raises(BenchRefused) as refused:
        typed(session, glove, by=cast.orla)
    assert refused.value.code == "KEPT_AS_EVIDENCE"


def test_a_row_that_waited_stays_open_with_its_reason_and_the_others_are_posted(cast):
    session, gloves = day(cast.orla), in_service(count=3)
    for glove in gloves:
        typed(session, glove, by=cast.orla)
    keep(gloves[0], cast)
    plan = post(session, count=2, act=Act(cast.orla))
    (out,) = plan.left_out
    assert (out.row.row.item, out.code) == (gloves[0], "KEPT_AS_EVIDENCE")
    row = BenchRow.objects.get(item=gloves[0])
    assert (row.test_id, str(row.leakage_ma)) == (None, "12.500")  # what was read is not lost
    session.refresh_from_db()
    assert session.state == "open"


@pytest.fixture
def suspect(cast):
    """A tested pair of which the left is in doubt and kept as evidence, and the mapping of a lab."""
    left, right = builders.pair()
    builders.tested(left, right)
    builders.happened(left, "event", event="flash_or_contact")
    keep(left, cast)
    return left, labfiles.mapping(cast.orla)


def bring(cast, through, item, **line):
    data = labfiles.file({"Piece": item.item_no, **line})
    assert not labfiles.run(acts.dry_run, cast.orla, data, through).report.refused
    return labfiles.run(acts.commit, cast.orla, data, through).report


def test_a_result_of_a_lab_is_kept_flagged_and_clears_nothing(cast, suspect):
    glove, through = suspect
    before = codes(glove)
    report = bring(cast, through, glove)
    assert report.outcomes == {"void": 1}
    assert "KEPT_AS_EVIDENCE" in str([problem.values for fate in report.fates for problem in fate.notes])
    row = ElectricalTest.objects.get()
    assert (row.outcome, str(row.leakage_ma), row.report_no) == ("void", "12.500", "C-1")
    assert [code["code"] for code in row.codes] == ["KEPT_AS_EVIDENCE"]
    assert codes(glove) == before
    assert bring(cast, through, glove).outcomes == {}  # sent again it is known
    assert verify() == []


def test_nor_does_it_once_the_piece_is_freed_or_the_test_corrected(cast, suspect):
    glove, through = suspect
    bring(cast, through, glove)
    second = builders.person("supervisor", "another-supervisor")
    hold = str(EvidenceKept.objects.get(item=glove).pk)
    condition.free_evidence(glove, hold_id=hold, reason="report is in", act=Act(second))
    assert codes(glove)[1][0] == "NEEDS_TEST"
    entry = Entry.objects.get(kind="tested", via="import")
    taken = reading(tested_on=entry.occurred_on, leakage_ma=Decimal("12.1"))
    correct_test(entry, taken, Paper("accept", "The lab", "", "C-1"), reason="mistyped", act=Act(second))
    assert codes(glove)[1][0] == "NEEDS_TEST"


def test_a_failure_that_a_lab_found_counts_all_the_same(cast, suspect):
    glove, through = suspect
    bring(cast, through, glove, Leak="16.5", Result="FAIL")
    assert ItemState.objects.get(item=glove).condition == "rejected"
    assert [code["code"] for code in ElectricalTest.objects.get().codes] == [
        "CURRENT_ABOVE_LIMIT",
        "KEPT_AS_EVIDENCE",
    ]


def test_a_visitors_piece_does_not_go_home_while_it_is_evidence(cast):
    visit = visiting.checked_in(cast.orla)
    piece = Item.objects.get(item_no="V-00001")
    keep(piece, cast)
    with pytest.raises(Refused) as refused:
        leaving.hand_back(visit.number, ["V-00001", "V-00002"], act=Act(cast.bertrand))
    assert refused.value.code == "KEPT_AS_EVIDENCE"
    leaving.hand_back(visit.number, ["V-00002"], act=Act(cast.bertrand))
    visit.refresh_from_db()
    assert visit.closed_at is None
