"""The house keeps its own rules: what stands where, what is locked, and which words stay out."""

import os
import re
import subprocess
import tomllib
from itertools import pairwise

import pytest

from tests.conftest import PROJECT

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "Makefile",
    "fixtures",
    "gear",
    "inspections",
    "manage.py",
    "pyproject.toml",
    "reports",
    "requirements.lock",
    "tests",
}
APPS = ("gear", "inspections", "reports")
TEXT = {".py", ".html", ".css", ".js", ".toml", ".md", ".csv", ".json", ".txt", ".svg", ""}


def every_file():
    """What is kept, whatever else lies about in a folder that is worked in."""
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    listed = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=True).stdout
    return [path for name in listed.split("\0") if name and (path := PROJECT / name).is_file()]


FILES = sorted(every_file())


def sources(*, under=APPS, endings=(".py",)):
    """(path from the project, text) of every file of ours."""
    for path in FILES:
        place = path.relative_to(PROJECT)
        if (
            place.parts[0] in under
            and path.suffix in endings
            and not {"migrations", "vendor"} & set(place.parts)
        ):
            yield str(place), path.read_text(encoding="utf-8")


# Rooms


def test_the_top_level_holds_what_the_owner_asked_for_and_no_more():
    top = {path.relative_to(PROJECT).parts[0] for path in FILES}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_no_room_without_a_name():
    nameless = re.compile(r"(^|/)_?(utils?|helpers?|common|misc|core|base|shared|tools)(\.py|/|$)")
    places = [str(path.relative_to(PROJECT)) for path in FILES]
    assert [place for place in places if nameless.search(place)] == []


def test_no_file_outgrows_its_room():
    endings = (".py", ".js", ".html", ".css")
    sizes = {place: text.count("\n") for place, text in sources(under=(*APPS, "tests"), endings=endings)}
    assert {place: lines for place, lines in sizes.items() if lines > 400} == {}


# Layers that the import linter cannot see


@pytest.mark.parametrize(
    ("lower", "upper"), [("gear", "inspections"), ("gear", "reports"), ("inspections", "reports")]
)
def test_no_app_names_a_module_or_model_of_an_app_above_it(lower, upper):
    named = re.compile(rf"""["']{upper}\.\w|get_model\(["']{upper}["']|\b{upper}_\w+_set\b""")
    found = [place for place, text in sources(under=(lower,)) if named.search(text)]
    assert [place for place in found if not place.startswith("gear/site/")] == []


def test_rules_never_read_the_clock():
    clock = re.compile(r"\.(today|now|utcnow)\(|\btime\.time\(|\blocaldate\(")
    assert [place for place, text in sources() if "/rules/" in place and clock.search(text)] == []


def test_no_signal_but_post_migrate():
    names = re.compile(r"from django\.db\.models\.signals import (.+)")
    assert {found[1] for _, text in sources() for found in names.finditer(text)} <= {"post_migrate"}


def test_nothing_is_unpickled():
    loads = re.compile(r"\b(pickle|marshal|shelve|yaml)\b")
    assert [place for place, text in sources() if loads.search(text)] == []


def test_no_page_carries_a_script_or_a_style_of_its_own():
    """What is named ..._print.html becomes a PDF and never reaches a browser."""
    inline = re.compile(
        r"<style|<script(?![^>]*\bsrc=)(?![^>]*application/json)|\sstyle=|\son\w+=", re.IGNORECASE
    )
    pages = (
        (place, text) for place, text in sources(endings=(".html",)) if not place.endswith("_print.html")
    )
    assert [place for place, text in pages if inline.search(text)] == []


# Dependencies

LOCK = (PROJECT / "requirements.lock").read_text()
DECLARED = (PROJECT / "pyproject.toml").read_text()


def locked():
    """{name: its lines} of the lock."""
    starts = [found.start() for found in re.finditer(r"^[a-z0-9]", LOCK, re.MULTILINE)] + [len(LOCK)]
    blocks = [LOCK[start:end] for start, end in pairwise(starts)]
    return {re.match(r"[a-z0-9.-]+", block)[0]: block for block in blocks}


def declared():
    project = tomllib.loads(DECLARED)
    extras = project["project"]["optional-dependencies"].values()
    return [*project["project"]["dependencies"], *sum(extras, []), *project["dependency-groups"]["dev"]]


def test_every_locked_package_has_one_version_and_hashes():
    assert len(locked()) > 40
    for name, block in locked().items():
        assert re.match(rf"{re.escape(name)}==\S+", block), name
        assert "--hash=sha256:" in block, name


def test_the_lock_holds_no_address():
    assert "://" not in LOCK
    assert "--index" not in LOCK
    assert "--find-links" not in LOCK


def test_every_declared_package_is_locked():
    names = {re.match(r"[A-Za-z0-9.-]+", line)[0].lower() for line in declared()}
    assert names - set(locked()) == set()


def test_every_dependency_says_who_uses_it():
    lines = DECLARED[: DECLARED.index("[tool.ruff]")].splitlines()
    silent = [line for line in lines if re.match(r'\s+"', line) and not re.search(r",\s+# \S.{5,}", line)]
    assert silent == []


# Words

# Parted, so that this file does not hold what it looks for.
UNWANTED = [
    "TO" + "DO",
    "FIX" + "ME",
    "XX" + "X",
    "NotImplemented" + "Error",
    "/wo" + "rk/",
    "/ho" + "me/",
    "/ro" + "ot/",
    "py" + "pi.org",
    "registry.np" + "mjs",
]


@pytest.mark.parametrize("word", UNWANTED)
def test_an_unwanted_word_stands_nowhere(word):
    found = []
    for path in FILES:
        known = path.suffix in TEXT and "vendor" not in path.parts and path.name != "requirements.lock"
        if known and re.search(
            rf"(?<!\w){re.escape(word)}", path.read_text(encoding="utf-8", errors="replace")
        ):
            found.append(str(path.relative_to(PROJECT)))
    assert found == []


def test_no_test_is_skipped_or_expected_to_fail():
    escapes = re.compile(
        r"pytest\." + r"(skip|xfail|importorskip)|mark\." + r"(skip|skipif|xfail)\b|assert " + r"True\b"
    )
    assert [place for place, text in sources(under=("tests",)) if escapes.search(text)] == []


def test_scripts_of_the_house_can_be_run():
    scripts = [path for path in FILES if path.parent.name == ".ci"] + [PROJECT / "manage.py"]
    assert len(scripts) > 5
    assert [path.name for path in scripts if not os.access(path, os.X_OK)] == []
