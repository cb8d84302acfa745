"""What becomes of every line of a file: new, known already, or refused with a reason; and the totals."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from gear.rules.tables import Problem, Table

NEW, KNOWN, REFUSED = "new", "known", "refused"


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of one line. `outcome` is that of a test; `problems` refuse the line, `notes` do not."""

    line: int
    subject: str
    word: str
    outcome: str = ""
    problems: tuple[Problem, ...] = ()
    notes: tuple[Problem, ...] = ()

    @property
    def rank(self) -> int:
        """Refused first, then tests that failed, then what has a note, then the rest."""
        return 0 if self.problems else 1 if self.outcome == "failed" else 2 if self.notes else 3


@dataclass(frozen=True)
class Report:
    """The fate of every line in order of lines; `creates` names what is made beside the rows (depots, crews, ...)."""

    book: str
    name: str
    sha256: str
    fates: tuple[Fate, ...]
    creates: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    committed: bool = False

    @property
    def totals(self) -> dict[str, int]:
        """Lines by fate, and how many of them carry a note."""
        counts = {"lines": len(self.fates), NEW: 0, KNOWN: 0, REFUSED: 0, "notes": 0}
        for fate in self.fates:
            counts[fate.word] += 1
            counts["notes"] += bool(fate.notes)
        return counts

    @property
    def outcomes(self) -> dict[str, int]:
        """New tests by outcome; empty for a gear book."""
        counts: dict[str, int] = {}
        for fate in self.fates:
            if fate.outcome:
                counts[fate.outcome] = counts.get(fate.outcome, 0) + 1
        return counts

    @property
    def refused(self) -> bool:
        """Whether a line is refused: then nothing of the file is stored."""
        return any(fate.word == REFUSED for fate in self.fates)

    @property
    def worst_first(self) -> list[Fate]:
        """Lines as a person wants to read them: refused, noted, the rest."""
        return sorted(self.fates, key=lambda fate: (fate.rank, fate.line))


def subjects_of(table: Table) -> dict[int, str]:
    """Line -> item number as written, of every readable row: all that the fates need of a table."""
    return {row.line: row.cells.get("item_no", "")[:40] for row in table.rows}


def fates_of(
    subjects: Mapping[int, str],
    *,
    words: Mapping[int, str],
    problems: Iterable[Problem],
    notes: Iterable[Problem],
    outcomes: Mapping[int, str] | None = None,
) -> tuple[Fate, ...]:
    """One fate a line. `words` says "new" or "known" of every line that has no problem; notes go to new lines alone."""
    against, beside = _by_line(problems), _by_line(notes)
    outcomes = outcomes or {}
    return tuple(
        Fate(
            line,
            subjects.get(line, ""),
            REFUSED if line in against else words[line],
            "" if line in against else outcomes.get(line, ""),
            tuple(against.get(line, ())),
            tuple(beside.get(line, ())) if line not in against and words[line] == NEW else (),
        )
        for line in sorted(subjects.keys() | against.keys())
    )


def _by_line(problems: Iterable[Problem]) -> dict[int, list[Problem]]:
    grouped: dict[int, list[Problem]] = {}
    for problem in problems:
        grouped.setdefault(problem.line, []).append(problem)
    return grouped
