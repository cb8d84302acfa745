"""A loaded rule pack: every question that the rules ask of the tables, answered with the figure and its source."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from types import MappingProxyType
from typing import Any

from gear.rules.packs.figures import Figure, Interval, KindRule
from gear.rules.packs.in_force import RulesTable, tables_in_force
from gear.rules.packs.schema import RUBBER_KINDS, TABLES

Row = Mapping[str, Any]


def figure_of(row: Row, column: str) -> Figure:
    """The value of one column with the source of its row; None where the row says that there is no value."""
    return Figure(row.get(column), row["source"], row["clause"], row["status"], row.get("confirm", False))


@dataclass(frozen=True, eq=False)
class RulePack:
    """Named, versioned tables. `sha256` is of the file, and of both files joined where a pack extends another."""

    name: str
    version: str
    title: str
    sha256: str
    data: Mapping[str, Mapping[str, Any]]

    @property
    def label(self) -> str:
        """Name and version in one, as answers and reports print it: "us_federal 1"."""
        return f"{self.name} {self.version}"

    @cached_property
    def _rows(self) -> Mapping[str, Mapping[tuple[object, ...], Row]]:
        return {
            name: MappingProxyType(
                {tuple(row[part] for part in TABLES[name].key): row for row in table["rows"]}
            )
            for name, table in self.data.items()
        }

    def _figure(self, table: str, key: tuple[object, ...], column: str) -> Figure | None:
        row = self._rows[table].get(key)
        if row is None:
            return None
        figure = figure_of(row, column)
        return None if figure.value is None else figure

    @cached_property
    def _kinds(self) -> Mapping[str, KindRule]:
        return {str(key[0]): _kind_rule(row) for key, row in self._rows["kind"].items()}

    def kind_rule(self, kind: str) -> KindRule | None:
        """Interval, shelf limit and events of a kind; None for a kind that the pack does not know."""
        return self._kinds.get(kind)

    def classes_of(self, kind: str) -> tuple[str, ...]:
        """The classes that a kind can have; empty for kinds without classes and for unknown kinds."""
        rule = self.kind_rule(kind)
        return () if rule is None else rule.classes

    def max_use_v(self, kind: str, cls: str | None) -> Figure | None:
        """Maximum use voltage in V ac, phase-to-phase; for rigid cover COVERED to COVERED. None for others."""
        if kind == "rigid_cover":
            return self._figure("rigid_cover", (cls,), "covered_phase_phase_v")
        return self._figure("max_use_ac", (cls,), "volts") if kind in RUBBER_KINDS else None

    def use_to_ground_v(self, kind: str, cls: str | None) -> Figure | None:
        """Maximum use voltage of rigid cover in V ac, covered phase to ground; None for other kinds."""
        return self._figure("rigid_cover", (cls,), "phase_ground_v") if kind == "rigid_cover" else None

    def proof_v(self, kind: str, cls: str | None, supply: str | None) -> Figure | None:
        """Proof voltage in V for "ac" or "dc"; None without one, and for DC where it is not allowed."""
        rule = self.kind_rule(kind)
        if rule is None or supply not in ("ac", "dc") or (supply == "dc" and not rule.dc_allowed):
            return None
        if kind == "rigid_cover":
            return self._figure("rigid_cover", (cls,), f"proof_{supply}_v")
        return self._figure(f"{supply}_proof", (cls,), "volts") if kind in RUBBER_KINDS else None

    def glove_limit_ma(self, cls: str | None, length_mm: int | Decimal | None) -> Figure | None:
        """Largest AC proof-test current in mA, by the next shorter tabulated length.

        None where the length is not stated, is shorter than every tabulated one, or has no value for the class.
        """
        if length_mm is None:
            return None
        columns = [
            row["column_mm"] for row in self.data["glove_length"]["rows"] if row["from_mm"] <= length_mm
        ]
        return self._figure("glove_current", (cls, columns[-1]), "milliamperes") if columns else None

    def glove_limits_ma(self, cls: str | None) -> tuple[Figure, ...]:
        """Every tabulated current limit of a class, shortest glove first."""
        rows = self._rows["glove_current"].items()
        return tuple(
            figure_of(row, "milliamperes") for key, row in rows if key[0] == cls and "milliamperes" in row
        )

    def water_mm(self, cls: str | None, supply: str | None) -> Figure | None:
        """Clearance from cuff to water line in mm."""
        return self._figure("water_level", (cls, supply), "mm")

    def colour(self, cls: str | None) -> Figure | None:
        """The name of the label colour of a class of rubber goods."""
        return self._figure("colour", (cls,), "colour")

    def block_source(self, code: str) -> str:
        """Source and clause of a reason code, as one line. Raises KeyError for a code that no pack may leave out."""
        row = self._rows["block"][(code,)]
        return f"{row['source']}: {row['clause']}"

    def seconds_required(self, purpose: str) -> Figure | None:
        """Least time at proof voltage in seconds for a purpose of test; None for an unknown purpose."""
        return self._figure("duration", (purpose,), "seconds")

    def r20_mohm_per_ft(self, cable_size: str | None) -> Figure | None:
        """Copper cable resistance at 20 C in milliohm per foot; None where no value is known."""
        return self._figure("copper_r20", (cable_size,), "mohm_per_ft")

    def jumper_constant(self, constant: str) -> Figure:
        """cable_factor, fittings_mohm, alpha_per_c or reference_c of the jumper limit. Raises KeyError for others."""
        return figure_of(self._rows["jumper_limit"][(constant,)], "value")

    def grade_of_cable(self, cable_size: str | None) -> str | None:
        """Grounding grade "1" to "7" of one copper cable; None for a size that is not tabulated."""
        for (grade,), row in self._rows["ground_grade"].items():
            if row["cable"] == cable_size:
                return str(grade)
        return None

    def withstand_ka(self, grade: str | None, cycles: int | Decimal | None) -> Figure | None:
        """Withstand in kA at the next longer tabulated duration (15 or 30 cycles of 60 Hz).

        None beyond 30 cycles: nothing is extrapolated, nothing interpolated.
        """
        if cycles is None:
            return None
        for tabulated in (15, 30):
            if 0 < cycles <= tabulated:
                return self._figure("ground_grade", (grade,), f"withstand_{tabulated}_ka")
        return None

    def ultimate_ka(self, grade: str | None, cycles: int) -> Figure | None:
        """Ultimate capacity in kA at exactly 15, 30 or 60 cycles."""
        return (
            self._figure("ground_grade", (grade,), f"ultimate_{cycles}_ka")
            if cycles in (15, 30, 60)
            else None
        )

    def continuous_a(self, grade: str | None) -> Figure | None:
        """Continuous current of a grade in A."""
        return self._figure("ground_grade", (grade,), "continuous_a")

    def parallel_grade(self, cable_size: str | None) -> str | None:
        """The grade under which two such cables in parallel are tabulated; None where they are not."""
        for (grade,), row in self._rows["ground_grade"].items():
            if row["parallel_cable"] == f"2 x {cable_size}":
                return str(grade)
        return None

    def parallel_factor(self, rule: str) -> Figure:
        """Factor of the rule "derate" or "tabulated" for cables in parallel. Raises KeyError for others."""
        return figure_of(self._rows["parallel"][(rule,)], "factor")

    def h_rating_ka(self, grade: str | None) -> Figure | None:
        """Rated kA at 15 cycles and X/R 30 of a high X/R grade "1H" to "7H"."""
        return self._figure("ground_grade_high_xr", (grade,), "rated_ka")

    def tables(self) -> Sequence[RulesTable]:
        """Every table for the page "Rules in force": title, note, headings and rows of figures."""
        return tables_in_force(self.data, figure_of)


def _interval(given: Mapping[str, Any] | None) -> Interval | None:
    return None if given is None else Interval(given["count"], given["unit"])


def _kind_rule(row: Row) -> KindRule:
    return KindRule(
        kind=row["kind"],
        interval=_interval(row.get("interval")),
        no_clock=row.get("no_clock", False),
        shelf_limit=_interval(row.get("shelf_limit")),
        test_required=row["test_required"],
        dc_allowed=row["dc_allowed"],
        voiding_events=frozenset(row["voiding_events"]),
        repair_allowed=row["repair_allowed"],
        source=row["source"],
        status=row["status"],
        clause=row["clause"],
        repair=row["repair"],
        classes=tuple(row["classes"]),
    )
