"""The tables of the gear book. Evidence tables are append-only; ItemState is a cache that can be rebuilt."""

from gear.models.book import CONDITION_NAMES, KIND_NAMES, SET_KINDS, GearSet, Item, ItemState, ItemType
from gear.models.evidence import (
    VIA,
    AppendOnly,
    DestructionBatch,
    Entry,
    GivenAnswer,
    ImportedFile,
    Label,
    LabelPrint,
    Membership,
    PrintedLabel,
    Qualification,
    Refusal,
    Seal,
    SightingNote,
    SiteHead,
    StaleUseNote,
    Submission,
)
from gear.models.holding import ABOUT_NAMES, BatchHold, HoldBatch
from gear.models.kits import KitLine
from gear.models.nightly import STEP_NAMES, NightlyResult
from gear.models.people import HOLDER_NAMES, ROLE_NAMES, ROLES, ApiToken, Crew, Depot, Holder, User
from gear.models.photos import Photo

__all__ = [
    "ABOUT_NAMES",
    "CONDITION_NAMES",
    "HOLDER_NAMES",
    "KIND_NAMES",
    "ROLES",
    "ROLE_NAMES",
    "SET_KINDS",
    "VIA",
    "STEP_NAMES",
    "ApiToken",
    "AppendOnly",
    "BatchHold",
    "Crew",
    "Depot",
    "DestructionBatch",
    "Entry",
    "GearSet",
    "GivenAnswer",
    "HoldBatch",
    "Holder",
    "ImportedFile",
    "Item",
    "ItemState",
    "ItemType",
    "KitLine",
    "Label",
    "LabelPrint",
    "Membership",
    "NightlyResult",
    "Photo",
    "PrintedLabel",
    "Qualification",
    "Refusal",
    "Seal",
    "SightingNote",
    "StaleUseNote",
    "SiteHead",
    "Submission",
    "User",
]
