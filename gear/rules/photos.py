"""What is taken for a photo and how much of it is kept. The figures are common practice, no source."""

from __future__ import annotations

LONGEST_SIDE = 1600  # pixels, as stored
MOST_PIXELS = 40_000_000  # of what is sent, told by its own header before anything is decoded
MOST_BYTES = 10 * 1024 * 1024
MOST_PER_RECORD = 6
MOST_PER_DAY = 60  # of one person

_JPEG, _PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"


def format_of(data: bytes) -> str | None:
    """JPEG, PNG or WEBP by the first bytes, whatever the file calls itself; None for everything else."""
    if data.startswith(_JPEG):
        return "JPEG"
    if data.startswith(_PNG):
        return "PNG"
    return "WEBP" if data[:4] == b"RIFF" and data[8:12] == b"WEBP" else None
