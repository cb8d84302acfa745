"""One spelling for one content, a chain that shows every change, and Merkle roots as RFC 6962 defines them."""

import hashlib
import json
import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import hashing

JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(st.characters(codec="utf-8")),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(codec="utf-8")), inner, max_size=4)
    ),
    max_leaves=12,
)

# Canonical JSON --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "spelled"),
    [
        ({"b": 1, "a": [True, None, "x"]}, '{"a":[true,null,"x"],"b":1}'),
        ({"B": 1, "a": 1, "A": 1}, '{"A":1,"B":1,"a":1}'),
        (("a", "b"), '["a","b"]'),
        # the escapes of RFC 8785 section 3.2.2.2, from memory
        ('\u20ac$\x0f\nA\'B"\\\\"/', '"\u20ac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"'),
        # the same letter in two spellings is two texts: nothing is normalised behind the writer's back
        ("\u00e9", '"\u00e9"'),
        ("e\u0301", '"e\u0301"'),
    ],
)
def test_canonical_json_is_spelled_in_one_way(value, spelled):
    assert hashing.canonical(value) == spelled.encode()


@pytest.mark.parametrize(
    "value",
    [1.0, math.nan, math.inf, Decimal("1.5"), b"x", {1: "x"}, {None: 1}, {"a": [0.5]}, {"x"}, object()],
)
def test_what_has_no_single_spelling_is_refused(value):
    with pytest.raises(TypeError):
        hashing.canonical(value)


def test_text_that_is_no_unicode_is_refused():
    with pytest.raises(ValueError, match="surrogates"):
        hashing.canonical("\ud800")


@given(JSON_VALUES)
def test_canonical_json_reads_back_as_the_same_value(value):
    assert json.loads(hashing.canonical(value)) == value


@given(st.dictionaries(st.text(max_size=5), st.integers(), min_size=2, max_size=6))
def test_the_order_of_writing_does_not_matter(value):
    assert hashing.canonical(dict(reversed(value.items()))) == hashing.canonical(value)


# The hash of an entry --------------------------------------------------------------------------------------------

ENTRY = {"id": "1", "kind": "tested", "facts": {"v": 1, "outcome": "failed", "note": None}}


def test_an_entry_is_hashed_as_a_leaf_over_itself_and_the_one_before():
    spelled = (
        b'{"facts":{"note":null,"outcome":"failed","v":1},"id":"1","kind":"tested","previous":"'
        + b"a" * 64
        + b'"}'
    )
    assert hashing.entry_hash(ENTRY, "a" * 64) == hashlib.sha256(b"\x00" + spelled).hexdigest()


@pytest.mark.parametrize(
    "changed",
    [
        {**ENTRY, "id": "2"},
        {**ENTRY, "facts": {**ENTRY["facts"], "outcome": "accepted"}},
        {**ENTRY, "facts": {**ENTRY["facts"], "note": ""}},
        {**ENTRY, "facts": {**ENTRY["facts"], "v": True}},
        {**ENTRY, "extra": None},
        {name: value for name, value in ENTRY.items() if name != "kind"},
    ],
)
def test_any_change_of_an_entry_changes_its_hash(changed):
    assert hashing.entry_hash(changed, "") != hashing.entry_hash(ENTRY, "")


def test_another_predecessor_changes_the_hash():
    assert hashing.entry_hash(ENTRY, "") != hashing.entry_hash(ENTRY, "0" * 64)


def test_an_entry_cannot_bring_a_predecessor_of_its_own():
    with pytest.raises(ValueError, match="previous"):
        hashing.entry_hash({**ENTRY, "previous": "0" * 64}, "")


# Merkle roots ----------------------------------------------------------------------------------------------------

# Leaves and roots of the reference tests of Certificate Transparency (RFC 6962), from memory; they agree with the
# recursive definition of section 2.1 written out below, which was made apart from the code under test.
LEAVES = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]


def hashed(contents):
    """Leaves as a seal has them: in hex. The tree hashes each with the prefix of a leaf."""
    return [content.hex() for content in contents]


def root_by_definition(contents):
    """RFC 6962 section 2.1: split at the largest power of two below the count, leaf prefix 0, node prefix 1."""
    if not contents:
        return hashlib.sha256().digest()
    if len(contents) == 1:
        return hashlib.sha256(b"\x00" + contents[0]).digest()
    split = 1 << (len(contents) - 1).bit_length() - 1
    left, right = root_by_definition(contents[:split]), root_by_definition(contents[split:])
    return hashlib.sha256(b"\x01" + left + right).digest()


@pytest.mark.parametrize("count", range(9))
def test_roots_of_the_published_leaves(count):
    contents = [bytes.fromhex(leaf) for leaf in LEAVES[:count]]
    assert hashing.merkle_root(hashed(contents)) == ROOTS[count]


@pytest.mark.parametrize("count", range(70))
def test_roots_agree_with_the_recursive_definition(count):
    contents = [str(number).encode() for number in range(count)]
    assert hashing.merkle_root(hashed(contents)) == root_by_definition(contents).hex()


@given(st.lists(st.binary(max_size=3), min_size=1, max_size=20), st.data())
def test_a_cut_changed_doubled_or_moved_leaf_changes_the_root(contents, data):
    leaves = hashed(contents)
    root = hashing.merkle_root(leaves)
    place = data.draw(st.integers(0, len(leaves) - 1))
    other = b"none of them".hex()
    assert hashing.merkle_root(leaves[:place] + leaves[place + 1 :]) != root
    assert hashing.merkle_root([*leaves[:place], other, *leaves[place + 1 :]]) != root
    assert hashing.merkle_root([*leaves, leaves[-1]]) != root
    moved = [*leaves[:place], *leaves[place + 1 :], leaves[place]]
    assert (hashing.merkle_root(moved) == root) == (moved == leaves)


def test_a_node_cannot_pass_for_a_leaf():
    nodes = [hashlib.sha256(b"\x00" + content).digest() for content in (b"a", b"b")]
    assert hashing.merkle_root([b"".join(nodes).hex()]) != hashing.merkle_root(hashed([b"a", b"b"]))


@pytest.mark.parametrize("leaf", ["g" * 64, "a" * 63])
def test_a_leaf_that_is_not_hex_is_refused(leaf):
    with pytest.raises(ValueError, match="hex"):
        hashing.merkle_root([leaf])
