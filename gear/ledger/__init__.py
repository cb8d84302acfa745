"""The ledger: `record` is the only code that inserts an Entry; the rest folds, seals and checks."""

from gear.ledger.chain import BadMoment, LedgerError, line_of, moment_of, payload, site_zone
from gear.ledger.record import Draft, IdReused, append, record, record_many
from gear.ledger.rulebook import rules_by_day, rules_on
from gear.ledger.seals import last_seal, make_seal
from gear.ledger.writers import join_writers

__all__ = [
    "BadMoment",
    "Draft",
    "IdReused",
    "LedgerError",
    "append",
    "join_writers",
    "last_seal",
    "line_of",
    "make_seal",
    "moment_of",
    "payload",
    "record",
    "record_many",
    "rules_by_day",
    "rules_on",
    "site_zone",
]
