"""One label on a plain page, for any printer."""

from __future__ import annotations

from typing import Any, cast

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from gear import labels, permissions, queries, wording
from gear.models import User


def label(request: HttpRequest, item_no: str) -> HttpResponse:
    """The label of an item as it would be printed now. Reprinting keeps its code."""
    asked = queries.question()
    seen = queries.seen(item_no, asked)
    if seen.item is None or seen.facts is None:
        raise Http404(_("There is no item %s in the book.") % item_no)
    text = labels.text_of(seen, asked, pack=queries.rules_for(asked).pack)
    page: dict[str, Any] = {
        "title": _("Label of %s") % item_no,
        "item_no": item_no,
        "label": text,
        "facts": seen.facts,
        "reliable": seen.reliable,
        "may_print": permissions.can(cast(User, request.user), "print_labels"),
    }
    if text is not None:
        page |= {
            "square": labels.square(labels.address(seen.facts.label or "", base_url=settings.BASE_URL)),
            "tested_on": wording.day(text.tested_on) if text.tested_on else "",
            "good_through": wording.day(text.good_through) if text.good_through else "",
            "as_of": wording.day(text.as_of),
            "not_good": seen.facts.issued and not text.good_through,
            "words": wording.verdict(seen.answer),
            "answer": seen.answer,
        }
    return render(request, "gear/label.html", page)
