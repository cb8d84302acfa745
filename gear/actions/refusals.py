"""Refusals that belong beside one field of a form."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from django.utils.functional import Promise

from gear.actions.acting import Refused


class FieldRefused(Refused):
    """An act that may not be done as filled in. `field` is the form field at fault, or empty."""

    SENTENCES: ClassVar[Mapping[str, tuple[str, Promise]]] = {}  # code: (form field, sentence)

    def __init__(self, code: str):
        self.field, sentence = self.SENTENCES[code]
        self.code = code
        Exception.__init__(self, str(sentence))
