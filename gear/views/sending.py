"""What forms have in common that record something: each is sent once, and what is refused is told on the form."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import uuid4

from django.forms import Form, PasswordInput
from django.http import HttpRequest, QueryDict
from django.utils.translation import gettext as _

from gear.actions.submissions import IdReused
from gear.permissions import NotAllowed


def sent_values(request: HttpRequest, form: Form) -> dict[str, list[str]]:
    """What was sent in the fields of a form, its id apart: the same again is the same act.

    Secrets are left out: what is kept of a sending must not hold a trace of a password or PIN.
    """
    return {
        name: request.POST.getlist(name)
        for name, field in form.fields.items()
        if name != "id" and not isinstance(field.widget, PasswordInput)
    }


def refused_in(form: Form, error: Exception, *, names: Mapping[str, str] | None = None) -> int:
    """Put the sentence of a refusal beside its field, or over the form; returns the status of the page.

    `names` are the fields of the form where the act knows them under others. A form that came before with other
    content gets a new id: sent again as it stands, it is another act.
    """
    if isinstance(error, IdReused):
        renew(form)
        form.add_error(
            None,
            _(
                "This page was sent before with other content, and that was recorded. Look at the record first. "
                "Send it again only if this happened as well."
            ),
        )
        return 422
    stated, told = getattr(error, "field", ""), str(error)
    field = (names or {}).get(stated, stated)
    form.add_error(field if field in form.fields else None, told.removeprefix(f"{stated}: "))
    return 403 if isinstance(error, NotAllowed) else 422


def renew(form: Form) -> None:
    """Give a form that was sent a new id."""
    data: Any = form.data
    if isinstance(data, QueryDict):
        data = data.copy()
    data["id"] = str(uuid4())
    form.data = data
