"""Lines of a load list in words, for pages, paper and phone."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear.queries import described
from inspections.rules.loadlist import PAIR, SET, Cover, Line


def line_words(line: Line) -> str:
    """`Blanket, class 4 or higher, size 36 x 36 in: 6 pieces`, `Grounding jumper, 2/0 or larger: 1 set`."""
    least = ""
    if line.least:
        jumper = line.kind == "grounding_jumper"
        least = _("%s or larger") % line.least if jumper else _("class %s or higher") % line.least
    words = [
        described.kind_word(line.kind),
        least,
        _("size %s") % line.size if line.size else "",
        _("at least %s") % described.length(line.length_mm) if line.length_mm else "",
    ]
    return f"{', '.join(word for word in words if word)}: {amount(line, line.count)}"


def amount(line: Line, count: int) -> str:
    """`2 pairs`, `1 set`, `6 pieces`."""
    if line.unit == PAIR:
        return ngettext("%d pair", "%d pairs", count) % count
    if line.unit == SET:
        return ngettext("%d set", "%d sets", count) % count
    return ngettext("%d piece", "%d pieces", count) % count


def short_words(cover: Cover) -> str:
    """`Blanket, class 4 or higher: 6 pieces (4 aboard)`."""
    return _("%(what)s (%(aboard)d aboard)") % {"what": line_words(cover.line), "aboard": cover.aboard}
