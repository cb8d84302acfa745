"""Files as an invented lab writes them, and the mapping that reads them."""

import csv
import io

from gear.actions.acting import Act
from gear.actions.committing import BY_PAGE
from inspections.actions import labfiles
from inspections.models import LabMapping
from inspections.rules.labfile import Column, LabColumns
from tests.inspections import cartons

COLUMNS = {
    "Piece": Column("item_no"),
    "Test date": Column("tested_on"),
    "kV": Column("applied_v", "kV"),
    "Minutes": Column("seconds", "min"),
    "Leak": Column("leakage_ma", "mA"),
    "Look": Column("visual", words={"OK": "accept", "BAD": "reject"}),
    "Broke": Column("breakdown", words={"N": "no", "Y": "yes"}),
    "Result": Column("lab_result", words={"PASS": "accept", "FAIL": "reject"}),
    "CL": Column("class"),
    "Cert": Column("report_no"),
    "Initials": Column(""),
}
LINE = {
    "Piece": "G-00001", "Test date": "03/02/2026", "kV": "20", "Minutes": "1", "Leak": "12.5", "Look": "OK",
    "Broke": "N", "Result": "PASS", "CL": "2", "Cert": "C-1", "Initials": "RQ",
}  # fmt: skip


def columns(**changed) -> LabColumns:
    """The lab's columns; `Leak=Column(...)` changes one, `decimal="comma"` what counts for the file."""
    own = {name: changed.pop(name) for name in list(changed) if name in COLUMNS}
    usual = {"date_format": "MM/DD/YYYY", "constants": {"purpose": "in_service", "supply": "ac"}}
    return LabColumns({**COLUMNS, **own}, **{**usual, **changed})


def mapping(by, name: str = "The lab, gloves", **changed) -> LabMapping:
    return labfiles.keep_mapping(name, lab=cartons.lab(), columns=columns(**changed), act=Act(by))


def file(*lines: dict, delimiter: str = ",") -> bytes:
    """A CSV file of the lab: each line is LINE with changes, of G-00001, G-00002 and so on."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(LINE), delimiter=delimiter, lineterminator="\n")
    writer.writeheader()
    for place, line in enumerate(lines, start=1):
        writer.writerow({**LINE, "Piece": f"G-{place:05d}", **line})
    return out.getvalue().encode()


def run(work, by, data: bytes, through: LabMapping, shipment=None, name: str = "lab.csv"):
    """`labfiles.dry_run` or `labfiles.commit` as its page calls it."""
    act = Act(by, via="import")
    return work(name, data, mapping=through, shipment=shipment, act=act, limits=BY_PAGE)
