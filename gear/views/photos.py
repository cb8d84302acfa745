"""One photo, for whoever may see it."""

from __future__ import annotations

from typing import cast
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gear.models import User
from gear.permissions import bound_to
from gear.queries.photos import PhotoBroken, content_of, visible

# As in gear.site.headers, which lets this one policy stand: it is a picture and nothing that runs.
SANDBOX = "default-src 'none'; sandbox"


def photo(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The picture. One that is not there and one of another depot look the same."""
    person = cast(User, request.user)
    found = visible(person, depot=bound_to(person)).filter(pk=pk).first()
    if found is None:
        raise Http404(_("There is no such photo."))
    try:
        content = content_of(found)
    except PhotoBroken:
        why = _(
            "The file of this photo is gone or was changed. Have the administrator run verify_ledger --files."
        )
        return HttpResponse(why, status=410, content_type="text/plain; charset=utf-8")
    headers = {
        "Content-Disposition": f'inline; filename="{pk}.jpg"',
        "Content-Security-Policy": SANDBOX,
    }
    return HttpResponse(content, content_type="image/jpeg", headers=headers)
