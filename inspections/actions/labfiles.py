"""Lab result files: mappings kept version by version, and files read through one into the one import path."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation

from django.utils import timezone

from gear import permissions
from gear.actions.acting import Act, Refused, keeping_refusals
from gear.actions.committing import Limits, committed
from gear.ledger import rules_on
from gear.models import Holder, ImportedFile
from gear.rules import tables
from gear.rules.fates import Report
from gear.rules.packs import RulePack
from gear.rules.tables import Problem, Row
from inspections import queries, wording
from inspections.actions import testbook as importing
from inspections.actions.shipments import today
from inspections.models import LabFile, LabMapping, Shipment
from inspections.queries import Known
from inspections.rules import bench, labfile, testfacts, units
from inspections.rules.labfile import LabColumns
from inspections.rules.testbook import TestRow

USUAL = {
    "leakage_ma": Decimal(12),
    "resistance_mohm": Decimal(1),
    "seconds": Decimal(60),
}  # where no figure is known
ALIKE = Decimal("0.05")  # a length that is this much off is another piece or another unit


class MappingRefused(Refused):
    """A mapping that cannot be used. `problems` name each column at fault."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.code, self.problems = "MAPPING_REFUSED", tuple(problems)
        Exception.__init__(self, " ".join(wording.line_problem(one) for one in problems))


def keep_mapping(name: str, *, lab: Holder, columns: LabColumns, act: Act) -> LabMapping:
    """Keep a mapping as the next version of its name; earlier versions stay, for the files read through them.

    Raises NotAllowed or MappingRefused.
    """
    with keeping_refusals("map_lab_file", name, act):
        permissions.check_can(act.by, "import_files")
        if problems := labfile.faults(columns):
            raise MappingRefused(problems)
        return committed(lambda: _next_version(name, lab, columns, act))


def _next_version(name: str, lab: Holder, columns: LabColumns, act: Act) -> LabMapping:
    taken = (
        LabMapping.objects.filter(name=name).order_by("-version").values_list("version", flat=True).first()
    )
    return LabMapping.objects.create(
        name=name,
        version=(taken or 0) + 1,
        lab=lab,
        content=labfile.to_json(columns),
        made_at=timezone.now(),
        made_by=act.by,
    )


@dataclass(frozen=True)
class Seen:
    """What becomes of a lab's file: the report of its lines, and pieces of the shipment that are on no line.

    `doubted` are the columns that are in another unit than the mapping says.
    """

    report: Report
    not_in_file: tuple[str, ...] = ()
    doubted: tuple[str, ...] = ()


@dataclass
class _Reading:
    """One file on its way through a mapping. Read anew for every try: the book may have changed meanwhile."""

    name: str
    data: bytes
    mapping: LabMapping
    shipment: Shipment | None
    limits: Limits
    columns: LabColumns = field(init=False)
    in_file: set[str] = field(default_factory=set)
    doubted: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.columns = labfile.from_json(self.mapping.content)
        if not self.columns.constants.get("lab") and self.columns.named("lab") == "lab":
            stated = {**self.columns.constants, "lab": self.mapping.lab.name}
            self.columns = replace(self.columns, constants=stated)

    def given(self) -> importing.Given:
        required = [self.columns.named(one) for one in ("item_no", "tested_on", "visual")]
        table = tables.read(
            self.name,
            self.data,
            columns=tuple(self.columns.columns),
            required=[one for one in required if one in self.columns.columns],
            most_bytes=self.limits.bytes,
            most_rows=self.limits.rows,
            delimiter=labfile.SEPARATORS[self.columns.separator],
        )
        workbook = tables.is_workbook(self.name, self.data)
        translated = labfile.translate(table, self.columns, workbook=workbook)
        rows = translated.table.rows
        self.in_file = {row.cells["item_no"] for row in rows if "item_no" in row.cells}
        known = queries.known_pieces(self.in_file)
        doubts = list(self._doubts(rows, known))
        slip = set(queries.pieces_of(self.shipment)) if self.shipment else set()

        def remarks(books: Sequence[TestRow]) -> tuple[list[Problem], list[Problem]]:
            differs = [
                one for row in rows for one in self._differs(row, translated.compared[row.line], known)
            ]
            notes = [one for row in books for one in self._notes(row, known, slip)]
            return [*doubts, *differs], notes

        return importing.Given(translated.table, remarks)

    def _doubts(self, rows: Sequence[Row], known: Mapping[str, Known]) -> Iterator[Problem]:
        """A problem on every line that fills a column whose readings are in another unit than the mapping says."""
        pack = rules_on(today()).pack
        self.doubted = []
        for name, column in self.columns.columns.items():
            filled = (
                [(row, Decimal(row.cells[column.to])) for row in rows if column.to in row.cells]
                if (column.to in units.FACTORS and column.to not in labfile.CHECKS)
                else []
            )
            if column.to == "cable_temp_c":
                doubt = units.temperature_doubt([value for _row, value in filled])
            else:
                doubt = units.doubt([(value, _usual(column.to, row, known, pack)) for row, value in filled])
            if doubt:
                self.doubted.append(name)
            others = " / ".join(one for one in units.FACTORS.get(column.to, ()) if one != column.unit)
            for row, _value in filled if doubt else ():
                said = {"field": name, "unit": column.unit, "perhaps": others}
                yield Problem(row.line, f"UNIT_{doubt.upper()}", said)

    def _differs(self, row: Row, stated: Mapping[str, str], known: Mapping[str, Known]) -> Iterator[Problem]:
        """A line that is about another piece than its number says."""
        item = known.get(row.cells.get("item_no", ""))
        if item is None:
            return
        identity = item.facts.identity
        ours = {
            "class": identity.get("class"),
            "serial": identity.get("serial"),
            "length": identity.get("length_mm"),
            "cable_length": _millimetres(identity.get("cable_length_m")),
        }
        for check, theirs in stated.items():
            if ours[check] in (None, "") or _same(check, theirs, ours[check]):
                continue
            said = {"field": self.columns.named(check), "shown": theirs, "other": str(ours[check])}
            yield Problem(row.line, f"{check.upper()}_DIFFERS", said)

    def _notes(self, row: TestRow, known: Mapping[str, Known], slip: set[str]) -> Iterator[Problem]:
        item = known.get(row.item_no)
        last = item.last_test_on if item else None
        if last and row.tested_on < last:
            shown = {"field": self.columns.named("tested_on"), "shown": row.tested_on.isoformat()}
            yield Problem(row.line, "OLDER_THAN_LAST", {**shown, "other": last.isoformat()})
        if self.shipment and row.item_no not in slip:
            yield Problem(row.line, "NOT_IN_SHIPMENT", {"shown": row.item_no, "other": self.shipment.number})

    def seen(self, report: Report) -> Seen:
        slip = queries.pieces_of(self.shipment) if self.shipment else []
        missing = tuple(one for one in slip if one not in self.in_file)
        return Seen(_in_their_words(report, self.columns), missing, tuple(self.doubted))


def _usual(name: str, row: Row, known: Mapping[str, Known], pack: RulePack | None) -> Decimal:
    """What a reading of this piece is near to when nothing is wrong: the figure it is judged by. 0 where none is."""
    item = known.get(row.cells.get("item_no", ""))
    fallback = USUAL.get(name, Decimal(0))
    supply = row.cells.get("supply", "ac")
    if name == "leakage_ma" and supply == "dc":
        return Decimal(0)  # on DC microamperes are as they should be
    if item is None or pack is None:
        return fallback
    sheet = bench.sheet(testfacts.tested_item(item.facts.identity), pack)
    figures = {
        "applied_v": sheet.proof.get(supply),
        "seconds": sheet.seconds.get(row.cells.get("purpose", "")),
        "leakage_ma": sheet.limit_ma,
    }
    figure = figures.get(name)
    value = sheet.limit_20_mohm if name == "resistance_mohm" else figure.value if figure else None
    return Decimal(value) if value is not None else fallback


def _millimetres(metres: str | None) -> int | None:
    try:
        return int(Decimal(metres) * 1000) if metres else None
    except InvalidOperation:
        return None


def _same(check: str, theirs: str, ours: object) -> bool:
    if check in ("length", "cable_length"):
        wanted = Decimal(str(ours))
        return abs(Decimal(theirs) - wanted) <= wanted * ALIKE
    return theirs.strip().casefold() == str(ours).casefold()


def _in_their_words(report: Report, columns: LabColumns) -> Report:
    """The report with the lab's own names of the columns: that is what its file shows."""

    def renamed(one: Problem) -> Problem:
        said = one.values.get("field")
        return (
            replace(one, values={**one.values, "field": columns.named(said)})
            if isinstance(said, str)
            else one
        )

    fates = tuple(
        replace(fate, problems=tuple(map(renamed, fate.problems)), notes=tuple(map(renamed, fate.notes)))
        for fate in report.fates
    )
    return replace(report, fates=fates)


def dry_run(
    name: str, data: bytes, *, mapping: LabMapping, shipment: Shipment | None, act: Act, limits: Limits
) -> Seen:
    """The fate of every line of a lab's file read through a mapping. Nothing is stored. Raises FileRefused."""
    reading = _Reading(name, data, mapping, shipment, limits)
    return reading.seen(importing.dry_run(name, data, act=act, limits=limits, reading=reading.given))


def commit(
    name: str, data: bytes, *, mapping: LabMapping, shipment: Shipment | None, act: Act, limits: Limits
) -> Seen:
    """Store every new test of the file, or nothing; the file is kept with the version it was read through.

    The lab's verdict is compared and never believed; the same file again adds nothing. Raises FileRefused.
    """
    reading = _Reading(name, data, mapping, shipment, limits)

    def kept(file: ImportedFile) -> None:
        LabFile.objects.create(file=file, mapping=mapping, shipment=shipment)

    report = importing.commit(name, data, act=act, limits=limits, reading=reading.given, kept=kept)
    return reading.seen(report)
