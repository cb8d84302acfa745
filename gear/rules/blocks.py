"""What can speak against using an item: every reason code with its rank and what it does to the verdict."""

from __future__ import annotations

from dataclasses import dataclass, field

GOOD, STOP, UNKNOWN = "good", "stop", "unknown"
NOTE = "note"

# code: (rank, effect). Worst first; JOB order of what blocks an item.
BLOCKS = {
    "PACK_REFUSED": (0, UNKNOWN),
    "CHAIN_BROKEN": (1, UNKNOWN),
    "CLOCK_BEHIND": (2, UNKNOWN),
    "RESTORED": (3, UNKNOWN),
    "DESTROYED": (10, STOP),
    "REJECTED": (11, STOP),
    "NOT_IN_BOOK": (20, UNKNOWN),
    "LABEL_UNREADABLE": (21, UNKNOWN),
    "LABEL_REPLACED": (22, STOP),
    "RECORD_UNREADABLE": (23, UNKNOWN),
    "UNKNOWN_KIND": (24, UNKNOWN),
    "NO_RULE_FOR_KIND": (25, UNKNOWN),
    "NOT_YET_RECEIVED": (26, UNKNOWN),
    "EVIDENCE": (29, STOP),
    "HELD": (30, STOP),
    "LOST": (31, STOP),
    "FAILED_TEST": (40, STOP),
    "DAMAGED": (50, STOP),
    "NEEDS_TEST": (60, STOP),
    "OUT_FOR_REPAIR": (61, STOP),
    "OUT_FOR_TEST": (62, STOP),
    "NEVER_TESTED": (70, STOP),
    "TEST_NOT_JUDGED": (71, UNKNOWN),
    "JUDGED_AS_OTHER": (72, STOP),
    "OUT_OF_DATE": (80, STOP),
    "SHELF_LIMIT": (90, STOP),
    "SET_NOT_COMPLETE": (120, STOP),
    "NEEDS_CLEANING": (130, STOP),
    "NOT_INSPECTED": (140, STOP),
    "OTHER_HOLDER": (150, STOP),
    "NOT_INSPECTED_TODAY": (160, NOTE),
    "DUE_SOON": (170, NOTE),
}
# Blocks that no pack tells of: packs that were adopted before these came stay as they are. code: source
OWN_BLOCKS = {"EVIDENCE": "internal control: kept as evidence; ends only by a second supervisor"}
# Nothing that is known of the item can be relied upon when one of these holds, not even a `stop`.
OVERRIDING = frozenset(
    {
        "PACK_REFUSED",
        "CHAIN_BROKEN",
        "CLOCK_BEHIND",
        "RESTORED",
        "NOT_IN_BOOK",
        "LABEL_UNREADABLE",
        "RECORD_UNREADABLE",
        "UNKNOWN_KIND",
        "NO_RULE_FOR_KIND",
        "NOT_YET_RECEIVED",
    }
)
# What is wrong with this installation rather than with an item: no rule pack has a say in it.
OF_THE_INSTALLATION = frozenset({"RESTORED"})
KINDS = (
    "glove",
    "sleeve",
    "blanket",
    "line_hose",
    "hood",
    "rigid_cover",
    "grounding_jumper",
    "live_line_tool",
    "voltage_detector",
    "protector",
)


@dataclass(frozen=True)
class Reason:
    """Why an item is not good, or a note. `values` fill the sentence; `source` is a clause or practice."""

    code: str
    source: str = ""
    values: dict = field(default_factory=dict)

    @property
    def rank(self) -> int:
        return BLOCKS[self.code][0]

    @property
    def effect(self) -> str:
        # Of a mate about which nothing can be said, nothing follows but that nothing can be said of the pair.
        return UNKNOWN if self.values.get("mate_verdict") == UNKNOWN else BLOCKS[self.code][1]
