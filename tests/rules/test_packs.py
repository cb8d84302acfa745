"""Rule packs: complete, sourced, unaltered, or refused. There is nothing to fall back to."""

import os
from dataclasses import FrozenInstanceError
from decimal import Decimal

import pytest

from gear.rules import packs, readiness
from gear.rules.blocks import OF_THE_INSTALLATION, OWN_BLOCKS
from gear.rules.packs.schema import TABLES
from tests.rules.pack_folder import refusal, rewrite, seal

PACK = packs.load("us_federal")


# --- what is shipped ----------------------------------------------------------------------------


def test_the_shipped_packs_load_and_are_named():
    assert packs.known_packs() == (("thirty_day_gloves", "1"), ("us_federal", "1"))
    for name, version in packs.known_packs():
        pack = packs.load(name, version)
        assert pack.label == f"{name} {version}"
        assert len(pack.sha256) == 64


def test_every_row_of_every_table_has_source_clause_and_status():
    for name, table in PACK.data.items():
        for row in table["rows"]:
            assert all(row[column] for column in ("source", "clause", "status")), name


def test_what_was_not_seen_in_a_source_says_confirm():
    for name, table in PACK.data.items():
        for row in table["rows"]:
            figure = packs.Figure(1, row["source"], row["clause"], row["status"], row.get("confirm", False))
            assert figure.confirm == (row["status"] not in ("read", "computed") or "confirm" in row), name


@pytest.mark.parametrize(
    ("status", "flagged", "confirm"),
    [
        ("read", False, False),
        ("computed", False, False),
        ("memory", False, True),
        ("conflict", False, True),
        ("inference", False, True),
        ("unverified", False, True),
        ("read", True, True),
    ],
)
def test_confirm_follows_the_status(status, flagged, confirm):
    assert packs.Figure(1, "source", "clause", status, flagged).confirm is confirm


def test_every_reason_that_the_answer_can_give_has_a_source():
    assert set(readiness.BLOCKS) - OF_THE_INSTALLATION - set(OWN_BLOCKS) <= set(packs.BLOCK_CODES)
    assert all(": " in source for source in OWN_BLOCKS.values())
    for code in packs.BLOCK_CODES:
        assert ": " in PACK.block_source(code)
    with pytest.raises(KeyError):
        PACK.block_source("NO_SUCH_REASON")


def test_every_kind_has_a_rule_that_either_counts_or_says_that_nothing_counts():
    for kind in packs.KINDS:
        rule = PACK.kind_rule(kind)
        assert (rule.interval is None) == rule.no_clock
        assert rule.voiding_events == set(packs.VOIDING_EVENTS)
        assert rule.repair
    assert PACK.kind_rule("boots") is None
    assert PACK.classes_of("boots") == ()
    assert PACK.classes_of("glove") == packs.CLASSES


def test_figures_that_do_not_exist_are_none():
    assert PACK.max_use_v("grounding_jumper", "2") is None
    assert PACK.max_use_v("glove", None) is None
    assert PACK.max_use_v("rigid_cover", "00") is None
    assert PACK.proof_v("grounding_jumper", "2", "ac") is None
    assert PACK.proof_v("boots", "2", "ac") is None
    assert PACK.proof_v("glove", "2", None) is None
    assert PACK.proof_v("glove", "2", "AC") is None
    assert PACK.colour("5") is None
    assert PACK.water_mm("2", None) is None
    assert PACK.h_rating_ka("3") is None
    assert PACK.withstand_ka("3", None) is None
    assert PACK.ultimate_ka("3", 45) is None
    assert PACK.parallel_grade("#2") is None
    assert PACK.grade_of_cable("#4") is None
    assert PACK.seconds_required("other") is None


def test_rules_in_force_shows_every_table_with_a_source_behind_each_figure():
    tables = PACK.tables()
    assert [table.name for table in tables] == list(TABLES)
    for title, note, headings, rows in tables:
        assert title
        assert note
        assert rows
        for row in rows:
            assert len(row) == len(headings)
            figures = [cell for cell in row if isinstance(cell, packs.Figure)]
            assert figures
            assert all(figure.source and figure.clause for figure in figures)
            assert all(isinstance(figure.value, (int, str, Decimal, type(None))) for figure in figures)
            assert not any(isinstance(figure.value, bool) for figure in figures)
    kinds = {row[0]: row for row in next(table for table in tables if table.name == "kind").rows}
    assert kinds["glove"][2].value == "6 months"
    assert kinds["line_hose"][2].value is None
    assert kinds["line_hose"][5].value == "no"


def test_a_pack_cannot_be_changed_by_whoever_holds_it():
    with pytest.raises(FrozenInstanceError):
        PACK.name = "mine"
    with pytest.raises(TypeError):
        PACK.data["ac_proof"]["rows"][0]["volts"] = 1


# --- a second pack shows that rules are data ----------------------------------------------------


def test_the_thirty_day_pack_differs_in_the_glove_rule_alone():
    other = packs.load("thirty_day_gloves")
    assert other.kind_rule("glove").interval == packs.Interval(30, "days")
    assert other.kind_rule("glove").source == "W. Va. Code R. 36-48-14"
    for kind in packs.KINDS[1:]:
        assert other.kind_rule(kind) == PACK.kind_rule(kind)
    same = [name for name in TABLES if name != "kind" and other.data[name] == PACK.data[name]]
    assert len(same) == len(TABLES) - 1
    assert other.sha256 != PACK.sha256


def test_a_pack_is_refused_when_the_pack_it_extends_was_altered(folder):
    with (folder / "us_federal.toml").open("ab") as file:
        file.write(b"\n")
    assert "us_federal.toml has been altered" in refusal(folder, "thirty_day_gloves")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('kind = "glove"', 'kind = "boots"', "kind cannot be 'boots'"),
        ('kind = "glove"', "", "kind is missing"),
        ("[kind]\n", "[kinds]\n", "[kinds] may hold"),
        ("[kind]\n", "[boots]\nrows = []\n[kind]\n", "unknown table or field 'boots'"),
        ('extends_version = "1"', 'extends_version = "9"', "us_federal_9.toml is not listed"),
        ('extends_version = "1"', "", "None is not the version"),
        ('extends = "us_federal"', 'extends = "thirty_day_gloves"', "extends another pack itself"),
        ('extends = "us_federal"', 'extends = "../us_federal"', "is not the name of a rule pack"),
        ("count = 30", "count = 0", "interval cannot be"),
    ],
)
def test_an_overlay_with_a_fault_is_refused(folder, old, new, said):
    if "[kinds]" in new:
        rewrite(folder, "[[kind.rows]]", "[[kinds.row]]", name="thirty_day_gloves.toml")
    rewrite(folder, old, new, name="thirty_day_gloves.toml")
    assert said in refusal(folder, "thirty_day_gloves")


def test_an_overlay_may_not_name_a_row_twice_or_add_one(folder):
    text = (folder / "thirty_day_gloves.toml").read_text()
    row = text[text.index("[[kind.rows]]") :]
    (folder / "thirty_day_gloves.toml").write_text(f"{text}\n{row}")
    seal(folder)
    assert "replaces no row of the pack it extends, or one twice" in refusal(folder, "thirty_day_gloves")
    row = '{ kind = "protector", standard = "none", source = "s", clause = "c", status = "read" }'
    added = f"[method]\nrows = [{row}]\n"
    (folder / "thirty_day_gloves.toml").write_text(f"{text}\n{added}")
    seal(folder)
    assert "replaces no row" in refusal(folder, "thirty_day_gloves")


# --- missing, altered, unparsable ---------------------------------------------------------------


def test_a_pack_that_is_not_there_is_refused(folder):
    assert "nowhere.toml is not listed in SHA256SUMS" in refusal(folder, "nowhere")
    assert "us_federal_2.toml is not listed in SHA256SUMS" in refusal(folder, "us_federal", "2")
    (folder / "us_federal.toml").unlink()
    assert "us_federal.toml cannot be read" in refusal(folder)


@pytest.mark.parametrize("name", ["", "../us_federal", "US_FEDERAL", "us_federal.toml", "a/b", None, 1])
def test_a_name_that_is_no_name_is_refused(folder, name):
    assert "is not the name of a rule pack" in refusal(folder, name)


@pytest.mark.parametrize("version", ["", "1.0", "-1", "x", None, 1])
def test_a_version_that_is_no_version_is_refused(folder, version):
    assert "is not the version of a rule pack" in refusal(folder, "us_federal", version)


def test_without_the_list_of_hashes_no_pack_can_be_trusted(folder):
    (folder / "SHA256SUMS").unlink()
    assert "SHA256SUMS cannot be read" in refusal(folder)


@pytest.mark.parametrize(
    "sums",
    [
        b"\xff\xfe",
        b"nonsense\n",
        b"0" * 64 + b" us_federal.toml\n",
        (b"0" * 64 + b"  us_federal.toml\n") * 2,
        b"",
    ],
)
def test_a_damaged_list_of_hashes_refuses_every_pack(folder, sums):
    (folder / "SHA256SUMS").write_bytes(sums)
    assert "SHA256SUMS" in refusal(folder)


def test_a_pack_cut_short_anywhere_in_its_first_200_bytes_is_refused(folder):
    content = (folder / "us_federal.toml").read_bytes()
    for length in range(200):
        (folder / "us_federal.toml").write_bytes(content[:length])
        assert "has been altered" in refusal(folder)


def test_a_pack_cut_short_on_purpose_with_its_hash_renewed_is_refused_too(folder):
    """With the hash right, parsing and completeness stand alone against every truncation."""
    content = (folder / "us_federal.toml").read_bytes()
    assert content.endswith(b"]\n")
    for length in [*range(0, len(content) - 2, 997), len(content) - 2]:
        (folder / "us_federal.toml").write_bytes(content[:length])
        seal(folder)
        refusal(folder)


def test_any_flipped_bit_refuses_the_pack(folder):
    content = bytearray((folder / "us_federal.toml").read_bytes())
    for place in range(0, len(content), 1013):
        for bit in (0, 3, 7):
            content[place] ^= 1 << bit
            (folder / "us_federal.toml").write_bytes(content)
            assert "has been altered" in refusal(folder)
            content[place] ^= 1 << bit
    (folder / "us_federal.toml").write_bytes(content)
    assert packs.load("us_federal", "1", folder).label == "us_federal 1"


def test_a_pack_altered_under_a_running_process_is_noticed_even_with_the_same_size_and_time(folder):
    file = folder / "us_federal.toml"
    assert packs.load("us_federal", "1", folder).max_use_v("glove", "2").value == 17000
    before = file.stat()
    file.write_bytes(file.read_bytes().replace(b"volts = 17000", b"volts = 99000"))
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert file.stat().st_size == before.st_size
    assert "has been altered" in refusal(folder)


def test_two_folders_with_different_contents_do_not_share_a_pack(folder):
    rewrite(folder, "volts = 17000", "volts = 16000")
    assert packs.load("us_federal", "1", folder).max_use_v("glove", "2").value == 16000
    assert packs.load("us_federal").max_use_v("glove", "2").value == 17000


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"name = ", "is not readable TOML"),
        (b"\xff", "is not readable TOML"),
        (b"", "does not hold us_federal version 1"),
        (b'name = "us_federal"\nversion = "2"\n', "does not hold us_federal version 1"),
        (b'name = "other"\nversion = "1"\n', "does not hold us_federal version 1"),
        (b'name = "us_federal"\nversion = "1"\n', "has no title"),
        (b'name = "us_federal"\nversion = "1"\ntitle = 1\n', "has no title"),
        (b'name = "us_federal"\nversion = "1"\ntitle = "t"\n', "table [ac_proof] is missing"),
        (b'name = "us_federal"\nversion = "1"\ntitle = "t"\nac_proof = 1\n', "may hold title, note and rows"),
        (b'name = "us_federal"\nversion = "1"\ntitle = "t"\n[ac_proof]\nrows = 1\n', "not a list of rows"),
        (b'name = "us_federal"\nversion = "1"\ntitle = "t"\n[ac_proof]\nrows = [1]\n', "not a list of rows"),
        (
            b'name = "us_federal"\nversion = "1"\ntitle = "t"\n[ac_proof]\nother = 1\n',
            "may hold title, note and rows",
        ),
        (b"x = " + b"[" * 3000, "is not readable TOML"),
    ],
)
def test_a_file_that_is_no_pack_is_refused(folder, content, said):
    (folder / "us_federal.toml").write_bytes(content)
    seal(folder)
    assert said in refusal(folder)


def test_known_packs_leaves_the_policy_out_and_refuses_an_altered_file(folder):
    assert packs.known_packs(folder) == (("thirty_day_gloves", "1"), ("us_federal", "1"))
    (folder / "shipped_policy.toml").write_text("")
    with pytest.raises(packs.PackRefused, match="shipped_policy.toml has been altered"):
        packs.known_packs(folder)


def test_a_later_version_lives_in_a_file_of_its_own(folder):
    text = (folder / "us_federal.toml").read_text().replace('version = "1"', 'version = "2"', 1)
    (folder / "us_federal_2.toml").write_text(text)
    seal(folder)
    assert packs.load("us_federal", "2", folder).label == "us_federal 2"
    assert packs.load("us_federal", "1", folder).label == "us_federal 1"
    assert ("us_federal", "2") in packs.known_packs(folder)


def test_the_parsing_of_unchanged_bytes_is_remembered(folder):
    assert packs.load("us_federal", "1", folder) is packs.load("us_federal", "1", folder)
