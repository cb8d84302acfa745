"""The year in figures in words: the same tables for page, paper and file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

from django.utils.translation import gettext as _

from gear import wording
from gear.queries.described import class_word, kind_word
from reports.rules.exposure import Exposure, per_thousand
from reports.rules.intervals import Group, Share, against_the_rest
from reports.rules.lifetimes import curve, median
from reports.rules.yearbook import AGES, BY_HAND, BY_TEST, UNSTATED, Yearbook

Row = tuple[str, ...]
NOTHING = "-"


@dataclass(frozen=True)
class Table:
    """One table: its code for files, heading, what it says of itself, names of columns, rows; `none` where it has none.

    `where` leads on to a page about the same, by the name of its route; empty where there is none.
    """

    code: str
    heading: str
    note: str
    columns: Row
    rows: tuple[Row, ...]
    none: str = ""
    where: str = ""


def kind_of(kind: str) -> str:
    return kind_word(kind) if kind else _("kind not on record")


def _age(age: str) -> str:
    if age == UNSTATED:
        return _("not on record")
    if age == AGES[0]:
        return _("under 1 year")
    return _("5 years and more") if age == AGES[-1] else _("%s years") % age


def _cause(cause: str) -> str:
    if cause.startswith(BY_TEST):
        code = cause.removeprefix(BY_TEST)
        return _("test: %s") % (wording.test_code({"code": code}) if code else _("no finding said"))
    return _("rejected by hand") if cause == BY_HAND else str(wording.DAMAGE.get(cause, cause))


def share_of(share: Share) -> str:
    """`3 of 40: 7.5 % (2.6 to 19.9)`; of fewer than 30 no per cent, and that they are too few."""
    if not share.of:
        return NOTHING
    told = {"count": share.count, "of": share.of}
    if share.percent is None or share.shown is None:
        return _("%(count)d of %(of)d: too few to tell") % told
    low, high = share.shown
    return _("%(count)d of %(of)d: %(share).1f %% (%(low).1f to %(high).1f)") % {
        **told, "share": share.percent, "low": low, "high": high,
    }  # fmt: skip


def worst_of(share: Share) -> str:
    """The exact interval, also of few: `0.2 to 33.9 %`."""
    if share.worst is None:
        return NOTHING
    return _("%(low).1f to %(high).1f %%") % {"low": share.worst[0], "high": share.worst[1]}


def population(book: Yearbook) -> list[Table]:
    kinds = tuple(
        (kind_of(kind), class_word(cls) or NOTHING, str(count))
        for (kind, cls), count in sorted(book.population.items())
    )
    total = (_("Together"), "", str(sum(book.population.values())))
    ages = tuple((_age(age), str(book.ages[age])) for age in (*AGES, UNSTATED) if book.ages[age])
    return [
        Table(
            "population",
            _("Pieces by kind and class"),
            _("Ours, on the last day counted, not destroyed; rejected and lost ones are among them."),
            (_("Kind"), _("Class"), _("Pieces")),
            (*kinds, total),
        ),
        Table(
            "age", _("Pieces by age"), _("Full years since the day of manufacture."), (_("Age"), _("Pieces")), ages
        ),
    ]  # fmt: skip


def exposure_table(book: Yearbook) -> Table:
    """Days, and days for each 1,000 in service. Never one per cent: that can be played with."""
    kinds = sorted(book.exposure.items())
    total = sum((found for _kind, found in kinds), Exposure())
    rows = [_days(kind_of(kind), found) for kind, found in kinds if found.in_service]
    rows.append(_days(_("Together"), total))
    if book.visitors_exposure.in_service:
        rows.append(_days(_("Visitors' gear, counted apart"), book.visitors_exposure))
    return Table(
        "exposure",
        _("Exposure: days on which something that was not good could have been used"),
        _(
            "Item-days with a person, a truck, a crew or a contractor. A piece out of date for one day on a truck "
            "counts 1, for 60 days 60, on a shelf 0. A lost piece goes on counting until it is found or destroyed."
        ),
        (
            _("Kind"),
            _("Days in service"),
            _("Days out of date"),
            _("of 1,000 in service"),
            _("Days not good otherwise"),
            _("Days lost, among these"),
        ),
        tuple(rows),
    )


def _days(name: str, found: Exposure) -> Row:
    rate = per_thousand(found.overdue, found.in_service)
    told = NOTHING if rate is None else f"{rate:.2f}"
    return (name, str(found.in_service), str(found.overdue), told, str(found.otherwise), str(found.lost))


def tests_table(book: Yearbook) -> Table:
    rows = []
    for kind, outcomes in sorted(book.tests.items()):
        failed = Share(outcomes["failed"], outcomes["failed"] + outcomes["accepted"])
        beside = (str(outcomes["void"]), str(outcomes["unjudged"]))
        rows.append((kind_of(kind), share_of(failed), worst_of(failed), *beside))
    return Table(
        "tests",
        _("Tests, and how many failed"),
        _(
            "Failed of those that were accepted or failed, with the 95 % interval, and the worst case beside it."
        ),
        (_("Kind"), _("Failed"), _("Worst case"), _("Void, besides"), _("Not judged, besides")),
        tuple(rows),
        _("No test is on record for this year."),
    )


def causes_table(book: Yearbook) -> Table:
    rows = []
    for (kind, cause), count in sorted(book.causes.items(), key=lambda pair: (pair[0][0], -pair[1])):
        share = Share(count, book.rejected[kind])
        rows.append((kind_of(kind), _cause(cause), share_of(share), worst_of(share)))
    return Table(
        "rejects",
        _("Rejected pieces, by cause"),
        _(
            "Each piece counts once, for what rejected it first; shares are of the rejected pieces of its kind."
        ),
        (_("Kind"), _("Cause"), _("Of the rejected"), _("Worst case")),
        tuple(rows),
        _("Nothing was rejected in this year."),
        "patterns",
    )


def groups_table(book: Yearbook, sort: str) -> Table:
    """Failed tests of each model, lot or age against the rest; of crews only those that stand out, never a ranking."""
    counts = {name: (pair[0], pair[1]) for name, pair in book.failing.get(sort, {}).items()}
    found = against_the_rest(counts)
    headings = {
        "model": _("Failed tests by maker and model"),
        "lot": _("Failed tests by lot"),
        "age": _("Failed tests by age at the test"),
        "crew": _("Failed tests by the crew that last had the piece"),
    }
    columns: Row = (_("Group"), _("Failed"), _("Worst case"), _("Odds against the rest"), _("Says"))
    if sort == "crew":
        shown = [one for one in found if one.name and one.differs]
        note = _(
            "A crew stands here only where its interval excludes the figure of all and chance is unlikely after all "
            "crews were allowed for. In order of name; nobody is ranked."
        )
        return Table("crew", headings[sort], note, columns, tuple(map(_group, shown)), nothing())
    named = [(_group_name(sort, one.name), one) for one in found]
    kept = [(name, one) for name, one in named if one.share.count or one.differs or sort == "age"]
    rows = tuple((name, *_group(one)[1:]) for name, one in kept)
    note = _("Each against all others together: Fisher's exact test, corrected for their number after Holm.")
    if left := len(found) - len(rows):
        note += " " + _("Without a failure, and nothing to tell of them: %d.") % left
    return Table(sort, headings[sort], note, columns, rows, nothing(), "patterns" if sort != "age" else "")


def nothing() -> str:
    return _("Nothing that these figures can show.")


def _group_name(sort: str, name: str) -> str:
    return _age(name) if sort == "age" else name or _("not on record")


def _group(one: Group) -> Row:
    ratio = one.odds_ratio
    odds = NOTHING if ratio is None else _("no failure elsewhere") if ratio == inf else f"{ratio:.2f}"
    if one.differs:
        says = _("differs (p = %.4f)") % one.p
    else:
        says = _("nothing that these figures can show") if one.share.tells else _("too few to tell")
    return (one.name, share_of(one.share), worst_of(one.share), odds, says)


def lives_table(book: Yearbook) -> Table:
    rows = []
    for kind, lives in sorted(book.lives.items()):
        half = median(curve(lives))
        ended = sum(over for _days, over in lives)
        told = _("too few to tell") if len(lives) < 30 else _("not reached: more than half still last")
        if half.time is not None and len(lives) >= 30:
            told = _months(half.time)
        rows.append((kind_of(kind), str(len(lives)), str(ended), told, _range(half.low, half.high)))
    return Table(
        "lives",
        _("How long pieces last, from first issue to rejection"),
        _(
            "Of all years up to the last day counted. What still lasts, was lost or was destroyed counts as long as "
            "it was seen."
        ),
        (_("Kind"), _("Pieces"), _("Rejected"), _("Half are gone after"), _("95 % interval")),
        tuple(rows),
        _("Of no piece is the day of its first issue known."),
    )  # fmt: skip


def _months(days: int) -> str:
    return _("%.1f months") % (days / 30.4375)


def _range(low: int | None, high: int | None) -> str:
    if low is None and high is None:
        return NOTHING
    return (
        f"{_months(low) if low is not None else NOTHING} .. {_months(high) if high is not None else NOTHING}"
    )


def counts_table(book: Yearbook, exceptions: int | None) -> Table:
    said = (
        ("received", _("received, visitors' gear apart")),
        ("lost", _("reported lost")),
        ("found", _("found again")),
        ("still_lost", _("lost on the last day counted")),
        ("destroyed", _("destroyed")),
    )
    rows = [(word, str(book.happened[code])) for code, word in said]
    rows.append((_("pieces of visitors here on the last day"), str(book.visitors)))
    if exceptions is not None:
        rows.append((_("exceptions in force on some day"), str(exceptions)))
    return Table(
        "counts", _("Received, lost, destroyed, excepted"), "", (_("What"), _("How many")), tuple(rows)
    )


def labs_table(rows: Iterable[tuple[str, Sequence[int], float | None, int]]) -> Table:
    """(lab, days of each line, their median, missing) in words."""
    told = tuple(
        (
            lab,
            str(len(days)),
            NOTHING if half is None else f"{half:g}",
            str(max(days)) if days else NOTHING,
            str(missing),
        )
        for lab, days, half, missing in rows
    )
    return Table(
        "labs",
        _("Labs: days from the carton's leaving to the settled line"),
        "",
        (_("Lab"), _("Pieces"), _("Half within, days"), _("Longest, days"), _("Missing")),
        told,
        _("No carton was settled in this year."),
        "shipments",
    )


def audits_table(samples: int, found: Iterable[tuple[str, int]]) -> Table:
    rows = ((_("samples drawn for a round"), str(samples)), *((word, str(count)) for word, count in found))
    return Table("audits", _("Audit rounds"), "", (_("What"), _("How many")), rows)


def lacks_table(rows: Iterable[tuple[str, int]], looked_at: int) -> Table:
    return Table(
        "lacks",
        _("What the records lack, today"),
        _("Of %d pieces. What is not on record is a group of its own above, and is never guessed.")
        % looked_at,
        (_("Lacks"), _("Pieces")),
        tuple((word, str(count)) for word, count in rows),
        _("No record lacks anything that is looked for."),
        "data_quality",
    )


def method() -> list[tuple[str, str]]:
    """Every figure with its source."""
    memory = _("from memory, confirm against the paper")
    papers = (
        (
            _("Interval shown beside a share"),
            "E. B. Wilson 1927, J. American Statistical Association 22, p. 209",
        ),
        (_("Worst case"), "C. J. Clopper, E. S. Pearson 1934, Biometrika 26, p. 404"),
        (_("One group against the rest"), "R. A. Fisher 1935, The Design of Experiments (exact, two-sided)"),
        (_("Many groups at once"), "S. Holm 1979, Scandinavian Journal of Statistics 6, p. 65"),
        (
            _("How long pieces last"),
            "E. L. Kaplan, P. Meier 1958, J. American Statistical Association 53, p. 457",
        ),
        (
            _("Interval of that"),
            "R. Brookmeyer, J. Crowley 1982, Biometrics 38, p. 29, on the log(-log) scale",
        ),
    )
    return [
        *((what, f"{paper} ({memory})") for what, paper in papers),
        (_("No per cent below 30"), _("common practice, no source")),
        (_("Exposure-days"), _("counted as said there; a rule of this program, no source")),
        (
            _("Tests of one piece"),
            _("Each test counts as one. A piece fails once at most, since that is final."),
        ),
        (
            _("Counts"),
            _("The entries of every piece, corrections applied; cartons and audit rounds from theirs."),
        ),
        (_("Money"), _("Left out: no price is on record.")),
    ]
