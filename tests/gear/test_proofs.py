"""Which seal covers an entry, and the path that leads from it to the root."""

import hashlib
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear.ledger import make_seal
from gear.models import Entry, Seal
from gear.queries.proofs import LATER_SEALS, proofs_of, records_of
from gear.rules.hashing import merkle_paths, merkle_root
from tests import builders


def climbed(leaf: str, index: int, count: int, path: list[str]) -> str:
    """RFC 9162 section 2.1.3.2, written from the text: the root that a path leads to."""
    fn, sn = index, count - 1
    r = hashlib.sha256(b"\0" + bytes.fromhex(leaf)).digest()
    for p in map(bytes.fromhex, path):
        assert sn != 0
        if fn & 1 or fn == sn:
            r = hashlib.sha256(b"\1" + p + r).digest()
            while not fn & 1 and fn != 0:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = hashlib.sha256(b"\1" + r + p).digest()
        fn, sn = fn >> 1, sn >> 1
    assert sn == 0
    return r.hex()


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6, 7, 8, 9, 15, 16, 17, 33])
def test_every_path_leads_to_the_root_as_the_rfc_climbs_it(count):
    leaves = [hashlib.sha256(bytes([number])).hexdigest() for number in range(count)]
    paths = merkle_paths(leaves, range(count))
    assert {climbed(leaves[index], index, count, path) for index, path in paths.items()} == {
        merkle_root(leaves)
    }


def sealed_days(days: int) -> list[Entry]:
    """One entry on each of some days, a seal at the end of each."""
    entries = []
    for day in range(days):
        at = datetime(2026, 9, 1, 12, tzinfo=UTC) + timedelta(days=day)
        with time_machine.travel(at, tick=False):
            blanket = builders.blanket(f"B-{day:03d}", received_on=at.date())
            entries.append(blanket.entry_set.get())
            make_seal(at + timedelta(hours=1))
    return entries


@pytest.mark.django_db
def test_an_entry_is_placed_under_the_seal_that_covers_it(cast):
    entries = sealed_days(3)
    proofs = proofs_of(entries)
    assert [proofs.leaves[entry.pk]["seal"] for entry in entries] == [1, 2, 3]
    for entry in entries:
        leaf = proofs.leaves[entry.pk]
        root = climbed(entry.hash, leaf["index"], leaf["count"], leaf["path"])
        assert root == proofs.seals[leaf["seal"]]["merkle_root"]


@pytest.mark.django_db
def test_what_no_seal_covers_yet_has_no_proof(cast):
    sealed_days(1)
    late = builders.blanket("B-late").entry_set.get()
    assert proofs_of([late]).leaves == {}
    assert proofs_of([]).leaves == {}


@pytest.mark.django_db
def test_the_seals_of_a_month_after_come_along_and_no_more(cast):
    entries = sealed_days(LATER_SEALS + 4)
    assert sorted(proofs_of(entries[:1]).seals) == list(range(1, LATER_SEALS + 2))


@pytest.mark.django_db
def test_a_seal_whose_rows_were_changed_proves_nothing(cast, past_the_guards):
    entries = sealed_days(2)
    past_the_guards("UPDATE gear_seal SET merkle_root = %s WHERE number = 1", "0" * 64)
    assert set(proofs_of(entries).leaves) == {entries[1].pk}


@pytest.mark.django_db
def test_queries_do_not_grow_with_entries_or_seals(cast):
    def asked(entries):
        with CaptureQueriesContext(connection) as queries:
            proofs_of(entries)
            records_of({entry.item_id for entry in entries})
        return len(queries)

    entries = sealed_days(12)
    assert asked(entries[:2]) == asked(entries)
    assert Seal.objects.count() == 12
