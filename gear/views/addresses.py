"""Addresses of pages that this installation may or may not have."""

from __future__ import annotations

from typing import Any

from django.urls import NoReverseMatch, reverse


def address_of(name: str, *arguments: Any) -> str:
    """The address of a page, or nothing where there is no such page."""
    try:
        return reverse(name, args=arguments)
    except NoReverseMatch:
        return ""
