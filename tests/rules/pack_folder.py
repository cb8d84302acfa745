"""A copy of the shipped packs that a test may damage, and the sentence with which it is then refused."""

import hashlib

import pytest

from gear.rules import packs


def seal(folder):
    """List the hashes anew, as someone would who changes a pack on purpose."""
    lines = [
        f"{hashlib.sha256(file.read_bytes()).hexdigest()}  {file.name}\n"
        for file in sorted(folder.glob("*.toml"))
    ]
    (folder / "SHA256SUMS").write_text("".join(lines), encoding="ascii")


def rewrite(folder, old, new, *, name="us_federal.toml"):
    """Replace the first occurrence and list the hash anew: only the check of the contents is left to refuse it."""
    text = (folder / name).read_text(encoding="utf-8")
    assert old in text
    (folder / name).write_text(text.replace(old, new, 1), encoding="utf-8")
    seal(folder)


def refusal(folder, name="us_federal", version="1"):
    with pytest.raises(packs.PackRefused) as caught:
        packs.load(name, version, folder)
    assert caught.value.message == str(caught.value)
    assert caught.value.message.endswith((".", ")")), "a refusal is a sentence"
    return caught.value.message
