"""The form of a qualification to accept gear by eye."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from gear.forms.acts import LONGEST_REASON
from gear.forms.strict import NOT_CHOSEN, PlainForm, day_field, text_field
from gear.models import User
from gear.permissions import bound_to
from gear.queries import people as reads


class QualificationForm(PlainForm):
    """Whom, from when, until when, and on what ground."""

    person = forms.ModelChoiceField(User.objects.none(), label=_("Who?"), empty_label=NOT_CHOSEN[1])
    from_on = day_field(_("From"))
    until_on = day_field(_("Through"), help_text=_("The last day on which they may accept."))
    reason = text_field(
        _("On what ground?"), most=LONGEST_REASON, help_text=_("Training, examination, who gave it.")
    )

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["person"]
        field.queryset = reads.people_in(bound_to(by)).filter(is_active=True).exclude(pk=by.pk)
        field.label_from_instance = lambda person: person.name
