"""Read label sheets as a printer and a phone do: pages drawn at 200 dpi in greys, squares found, text taken out."""

import io
import subprocess

import zxingcpp
from PIL import Image
from pypdf import PdfReader

DPI = 200  # of the coarsest label printer
MM = 25.4


def pages_of(pdf, folder):
    """Every page drawn at 200 dpi, in shades of grey: a printer without colour."""
    path = folder / "sheet.pdf"
    path.write_bytes(pdf)
    for old in folder.glob("page*.png"):
        old.unlink()
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "-png", path, folder / "page"], check=True)
    return [Image.open(drawn).convert("L") for drawn in sorted(folder.glob("page*.png"))]


def squares_on(picture):
    """[(text, x, y)]: what an independent decoder reads, with the upper left corner of each code in mm, row by row."""
    found = [
        (one.text, one.position.top_left.x / DPI * MM, one.position.top_left.y / DPI * MM)
        for one in zxingcpp.read_barcodes(picture)
    ]
    return sorted(found, key=lambda one: (round(one[2] / 10), one[1]))


def words_in(pdf):
    """The text layer of every page, blanks made equal."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def sizes_of(pdf):
    """(width, height) of every page in mm."""
    boxes = [page.mediabox for page in PdfReader(io.BytesIO(pdf)).pages]
    return [tuple(round(float(side) / 72 * MM, 1) for side in (box.width, box.height)) for box in boxes]
