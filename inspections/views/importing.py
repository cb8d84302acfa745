"""The page that brings in test results of a bench or a lab."""

from __future__ import annotations

from django.utils.translation import gettext_lazy

from gear.views.importing import Book, book_page
from inspections import wording
from inspections.actions import testbook
from inspections.rules import testbook as test_columns
from inspections.rules.bounds import LAB_RESULTS, LOOKS, PURPOSES, SUPPLIES

import_tests = book_page(
    Book(
        "import_tests",
        gettext_lazy("Import test results"),
        gettext_lazy(
            "One line for each test. Every line is judged from its readings; a result of the lab is compared only."
        ),
        test_columns.COLUMNS,
        test_columns.REQUIRED,
        {
            "purpose": ", ".join(PURPOSES),
            "supply": ", ".join(SUPPLIES),
            "applied_v": "V",
            "seconds": "s",
            "leakage_ma": "mA",
            "resistance_mohm": "milliohm",
            "cable_temp_c": "C",
            "visual": ", ".join(LOOKS),
            "breakdown": "yes, no",
            "flashover": "yes, no",
            "lab_result": ", ".join(LAB_RESULTS),
        },
        testbook.dry_run,
        testbook.commit,
        wording.line_problem,
    )
)
