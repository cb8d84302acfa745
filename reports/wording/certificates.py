"""A test certificate in words: the same rows on paper, on the page of the check and in a batch.

A voltage of the bench never stands without the words "proof voltage": what may be worked on is MAX USE, in volts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.queries import described
from inspections import wording as test_words
from inspections.rules import testfacts
from inspections.rules.calibration import History
from reports.rules.certificate import Certificate, Standing
from reports.wording import certificate_rows
from reports.wording.certificate_rows import Row

RULE_SENTENCE = gettext_lazy(
    "The US rule asks for a certification that identifies the item and the date of the test "
    "(29 CFR 1910.137(c)(2)(xii)). What else stands here is good practice."
)
PAST_SENTENCE = gettext_lazy(
    "States a test of the past and clears nothing for use. Scan the label of the item before each use."
)
CONFIRM_SENTENCE = gettext_lazy("Confirm against your own copy of the standard.")
BIG_WORDS = {
    "failed": gettext_lazy("FAILED"),
    "void": gettext_lazy("VOID"),
    "unjudged": gettext_lazy("NOT JUDGED"),
    "withdrawn": gettext_lazy("WITHDRAWN"),
    "replaced": gettext_lazy("REPLACED"),
}
SAID_OF = {
    "failed": gettext_lazy("The item did not pass this test. That is final."),
    "void": gettext_lazy("This test proves nothing. It certifies nothing and moves no date."),
    "unjudged": gettext_lazy("A figure that decides is missing, so nobody can say whether the item passed."),
}
RESULTS = {
    "accepted": gettext_lazy("Accepted"),
    "failed": gettext_lazy("Failed"),
    "void": gettext_lazy("Void"),
    "unjudged": gettext_lazy("Not judged"),
}


@dataclass(frozen=True)
class Dates:
    """What the dates say at a moment: the last good day, where the item is still good by this test, and its clock."""

    as_of: str
    good_through: date | None = None
    clock: str | None = None

    @property
    def sentence(self) -> str:
        if self.good_through is None:
            return _("As of %(as_of)s this paper says nothing about use. Scan the label.") % {
                "as_of": self.as_of
            }
        told = {
            "day": wording.day(self.good_through),
            "clock": wording.clock(self.clock),
            "as_of": self.as_of,
        }
        return _("By this test good through %(day)s (%(clock)s), as of %(as_of)s. Scan to confirm.") % told

    @property
    def short(self) -> str:
        """For a column whose heading says the rest."""
        if self.good_through is None:
            return _("scan the label")
        return f"{wording.day(self.good_through)}, {wording.clock(self.clock)}"


@dataclass(frozen=True)
class Told:
    """One certificate in words. `big` is empty for a test certificate; else the word that says it is none."""

    number: str
    code: str
    item_no: str
    title: str
    heading: str
    big: str
    said: str
    result: str
    tested_on: str
    identity: Sequence[Row]
    max_use: Sequence[Row]
    use_note: str
    test: Sequence[Row]
    papers: Sequence[Row]
    arithmetic: Sequence[Row]
    findings: Sequence[str]
    figures: Sequence[Row]
    record: Sequence[Row]
    pack: str = ""
    dates: Dates | None = None
    registered: Sequence[str] = ()
    doubts: Sequence[str] = ()
    cells: Mapping[str, str] = field(default_factory=dict)

    @property
    def certifies(self) -> bool:
        return not self.big

    @property
    def confirms(self) -> bool:
        """Whether any figure of it is to be looked up in the standard."""
        return any(row.confirm for row in (*self.figures, *self.max_use))


def tell(
    one: Certificate,
    standing: Standing,
    *,
    names: Mapping[str, str],
    on_file: Mapping[str, History],
    dates: Dates | None = None,
) -> Told:
    """A certificate in words. `names` are people by username, `on_file` the register of instruments as it is now,
    `dates` what follows from the test now."""
    big, said = _big(one, standing)
    judgement = testfacts.recorded(one.test)
    return Told(
        number=one.number,
        code=one.code,
        item_no=one.item_no,
        title=_("Test record") if big else _("Test certificate"),
        heading=described.heading(certificate_rows.stated_of(one)),
        big=big,
        said=said,
        result=str(RESULTS.get(one.outcome, one.outcome)),
        tested_on=wording.day(date.fromisoformat(one.tested_on)),
        identity=certificate_rows.identity(one),
        max_use=certificate_rows.max_use(one),
        use_note=wording.use_note(one.kind) if "max_use_v" in one.figures else "",
        test=certificate_rows.tested(one),
        papers=certificate_rows.papers(one, names),
        arithmetic=certificate_rows.arithmetic(one),
        findings=[test_words.finding(found) for found in judgement.codes]
        + [sentence for sentence in [test_words.lab_differs(one.test)] if sentence],
        figures=certificate_rows.figures(one),
        record=_record(one, names),
        pack=str(one.test["pack"]),
        dates=None if big else dates,
        registered=certificate_rows.registered(one, on_file),
        doubts=certificate_rows.doubts(one, on_file),
        cells=certificate_rows.cells(one),
    )


def standing_sentence(standing: Standing) -> str:
    """What became of the test since, or nothing."""
    day = wording.day(localtime(standing.at).date()) if standing.at else ""
    if standing.word == "withdrawn":
        return _("Withdrawn on %(day)s: this test does not count.") % {"day": day}
    if standing.word == "replaced":
        told = {"number": standing.number, "day": day}
        return _("Corrected on %(day)s. Replaced by %(number)s.") % told
    return ""


def _big(one: Certificate, standing: Standing) -> tuple[str, str]:
    if standing.word in BIG_WORDS:
        return str(BIG_WORDS[standing.word]), standing_sentence(standing)
    if one.outcome in BIG_WORDS:
        return str(BIG_WORDS[one.outcome]), str(SAID_OF[one.outcome])
    return "", ""


def _record(one: Certificate, names: Mapping[str, str]) -> list[Row]:
    by = certificate_rows.person(one.facts["recorded_by"], names)
    at = localtime(datetime.fromisoformat(one.facts["recorded_at"]))
    rows = [
        Row(_("Recorded by"), by or _("an imported file or the system")),
        Row(_("Recorded"), f"{wording.day(at.date())}, {date_format(at, 'H:i')}"),
        Row(_("Rule pack"), str(one.test["pack"])),
    ]
    if replaced := one.facts.get("replaces"):
        rows.append(Row(_("Replaces certificate"), replaced))
    return rows
