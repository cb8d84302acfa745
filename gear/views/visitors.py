"""Who asks without signing in, and how often they may guess."""

from __future__ import annotations

import time
from ipaddress import ip_address

from django.core.cache import cache
from django.http import HttpRequest

MISSES = 120  # codes that led nowhere, from one address in one minute; a yard full of crews stays far below
TURN = 60  # seconds


def address_of(request: HttpRequest) -> str:
    """The visitor's address. A proxy on this machine is believed about the last hop that it saw, no other is."""
    address = request.META.get("REMOTE_ADDR", "")
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2].strip()
    if forwarded and (not address or _is_loopback(address)):
        return forwarded[:64]
    return address


def has_guessed_too_often(request: HttpRequest) -> bool:
    """Whether this visitor's misses of the minute are used up. Codes that are found never count."""
    return cache.get(_key(request), 0) >= MISSES


def count_miss(request: HttpRequest) -> None:
    """Count one code that led nowhere."""
    key = _key(request)
    cache.add(key, 0, timeout=2 * TURN)
    try:
        cache.incr(key)
    except ValueError:
        cache.set(key, 1, timeout=2 * TURN)


def _key(request: HttpRequest) -> str:
    turn = int(time.time() // TURN)
    return f"label_misses:{turn}:{''.join(filter(str.isalnum, address_of(request)))}"


def _is_loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False
