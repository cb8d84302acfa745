"""The tables of the gear book. Evidence tables are append-only; ItemState is a cache that can be rebuilt."""

from gear.models.book import CONDITION_NAMES, KIND_NAMES, SET_KINDS, GearSet, Item, ItemState, ItemType
from gear.models.evidence import (
    VIA,
    AppendOnly,
    Entry,
    GivenAnswer,
    ImportedFile,
    Label,
    Membership,
    Qualification,
    Refusal,
    Seal,
    SiteHead,
    Submission,
)
from gear.models.people import HOLDER_NAMES, ROLE_NAMES, ROLES, ApiToken, Crew, Depot, Holder, User

__all__ = [
    "CONDITION_NAMES",
    "HOLDER_NAMES",
    "KIND_NAMES",
    "ROLES",
    "ROLE_NAMES",
    "SET_KINDS",
    "VIA",
    "ApiToken",
    "AppendOnly",
    "Crew",
    "Depot",
    "Entry",
    "GearSet",
    "GivenAnswer",
    "Holder",
    "ImportedFile",
    "Item",
    "ItemState",
    "ItemType",
    "Label",
    "Membership",
    "Qualification",
    "Refusal",
    "Seal",
    "SiteHead",
    "Submission",
    "User",
]
