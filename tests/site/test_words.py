"""What the field screens say stands in every catalog with its places; compiled catalogs are those of the sources."""

import gettext
import io
import re

import pytest
from django.utils import translation

from gear import wording
from gear.queries import described
from gear.rules.packs import Figure
from reports.management.commands.words import (
    ROOT,
    TABLES,
    catalogs,
    collected,
    compiled,
    read_catalog,
    tabled,
)

LANGUAGES = sorted(catalogs())
PLACES = re.compile(r"\{\w+\}|%\(\w+\)[sd]|%[sd%]|</?\w+[^>]*>")


def test_there_are_catalogs_of_french_and_spanish():
    assert LANGUAGES == ["es", "fr"]


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_of_the_field_screens_is_translated(language):
    catalog = read_catalog(catalogs()[language])
    missing = [key for key in collected() if not all(catalog[key].texts if key in catalog else [""])]
    assert missing == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_filled_in_has_the_same_places_in_every_language(language):
    catalog = read_catalog(catalogs()[language])
    for (_context, text), one in catalog.items():
        for translated in one.texts if text else ():
            assert sorted(PLACES.findall(translated)) == sorted(PLACES.findall(text)), text


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_compiled_catalog_is_that_of_its_source(language):
    path = catalogs()[language]
    stored = path.with_suffix(".mo").read_bytes()
    assert stored == compiled(read_catalog(path)), "Run: manage.py words"
    read = gettext.GNUTranslations(io.BytesIO(stored))
    for (context, text), one in read_catalog(path).items():
        if text and not one.plural:
            told = read.pgettext(context, text) if context else read.gettext(text)
            assert told == one.texts[0]


def test_what_has_no_translation_is_told_in_english():
    with translation.override("fr"):
        assert translation.gettext("No such sentence anywhere") == "No such sentence anywhere"
        assert str(wording.VERDICTS["stop"]) == "STOP. NE PAS UTILISER"
    with translation.override("es"):
        assert str(wording.VERDICTS["stop"]) == "ALTO. NO USAR"


def test_no_voltage_can_be_read_as_a_thousandth_of_it():
    figure = Figure(36000, "", "", "", False)
    assert described.volts(figure) == "36,000 V"
    for language in LANGUAGES:  # there a comma parts whole volts from their decimals
        with translation.override(language):
            assert described.volts(figure) == "36\N{NARROW NO-BREAK SPACE}000 V"


def test_the_plain_sentences_of_the_rules_are_found_too():
    assert len(tabled()) > 40
    assert {"{field} is missing. It is required."} <= {text for _context, text in tabled()}
    assert all((ROOT / name).exists() for name, _table in TABLES)


def test_texts_are_found_in_pages_and_in_modules():
    found = collected()
    assert {("", "STOP. DO NOT USE"), ("", "Scan a label"), ("hand", "left")} <= set(found)
    assert ("", "Record sheet") not in found
