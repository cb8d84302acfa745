"""What the readings of a bench session say together that no single one says: too low, copied, or drifting."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from statistics import median

from inspections.rules.acceptance import Expected

# Common practice, no source: from so many readings of one class and length on, their median says what is usual.
LEAST_READINGS = 5
EQUAL_READINGS = (
    5  # in a row: a column that was copied, or a meter that is stuck. Common practice, no source.
)

# Readings looked at, and the score from which they drift: H. B. Mann, Nonparametric Tests Against Trend, Econometrica
# 13 (1945) 245. Of ten readings in any order 1 in 1,056 scores 35 or more either way (counted exactly); of forty, 302
# is 3.5 standard deviations. The rule "six in a row rising or falling" (NIST/SEMATECH e-Handbook 6.3.2) cries wrongly
# in nearly every second session of 200 sound gloves, and nobody would believe it.
DRIFT: Mapping[int, int] = {10: 35, 40: 302}


@dataclass(frozen=True)
class Taken:
    """One reading that counts, in the order of typing: mA of a glove on AC, or milliohm of a jumper.

    `group` is what makes readings alike (kind, class, length or size); `earlier_ma` the last accepted current of the
    same item; `checked` whether another person confirmed it.
    """

    position: int
    group: tuple[str, ...]
    value: Decimal
    earlier_ma: Decimal | None = None
    checked: bool = False

    @property
    def is_current(self) -> bool:
        return self.group[:1] == ("glove",)


@dataclass(frozen=True)
class EqualRun:
    """Readings in a row that are all the same."""

    positions: tuple[int, ...]
    value: Decimal


@dataclass(frozen=True)
class Drift:
    """The newest `count` readings of a group climb (`rises`) or fall, from the `first` to the `last`."""

    group: tuple[str, ...]
    rises: bool
    count: int
    first: Taken
    last: Taken


def expected(taken: Sequence[Taken]) -> dict[int, Expected]:
    """position: what the current of that glove is compared with.

    That is the median of the other readings of its class and length where there are at least LEAST_READINGS of them,
    or the last accepted reading of the same item, whichever is higher: with an empty tank every reading is as low as
    the others. No entry where there is neither.
    """
    found = {}
    for group in {one.group for one in taken if one.is_current}:
        alike = [one for one in taken if one.group == group]
        ordered = sorted(one.value for one in alike if one.value > 0)
        for one in alike:
            others = ordered.copy()
            if one.value > 0:
                del others[bisect_left(others, one.value)]
            usual = [Expected(median(others), len(others))] if len(others) >= LEAST_READINGS else []
            if one.earlier_ma is not None:
                usual.append(Expected(one.earlier_ma))
            if usual:
                found[one.position] = max(usual, key=lambda two: two.leakage_ma)
    return found


def equal_runs(taken: Sequence[Taken]) -> list[EqualRun]:
    """Every run of EQUAL_READINGS or more equal readings, in the order of typing, whatever was on the bench.

    Readings of zero are no run: each of them proves nothing by itself. Nor are those that were confirmed.
    """
    found = []
    for (value, checked, _is_current), run in groupby(
        taken, key=lambda one: (one.value, one.checked, one.is_current)
    ):
        positions = tuple(one.position for one in run)
        if value > 0 and not checked and len(positions) >= EQUAL_READINGS:
            found.append(EqualRun(positions, value))
    return found


def drifts(taken: Sequence[Taken]) -> list[Drift]:
    """For every group whose newest readings drift, over the shorter number of readings that shows it."""
    found = []
    for group in sorted({one.group for one in taken}):
        alike = [one for one in taken if one.group == group and one.value > 0]
        for count, least in DRIFT.items():
            newest = alike[-count:]
            if len(newest) == count and abs(score := mann_score([one.value for one in newest])) >= least:
                found.append(Drift(group, score > 0, count, newest[0], newest[-1]))
                break
    return found


def mann_score(values: Sequence[Decimal]) -> int:
    """Pairs of readings of which the later is higher, less those of which it is lower; equal ones count for neither."""
    return sum(
        (later > earlier) - (later < earlier)
        for place, earlier in enumerate(values)
        for later in values[place + 1 :]
    )
