"""Who is mailed: supervisors, listed addresses, the hours, and a mail to try it."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views import View

from gear import permissions
from gear.actions.acting import REFUSALS, Act
from gear.models import User
from gear.permissions import bound_to
from gear.views.moments import moment
from gear.views.sending import refused_in
from reports.actions import recipients as acts
from reports.actions.posting import send_test_mail
from reports.forms.mail import AddressForm, PlanForm, TrialForm
from reports.queries import recipients as reads
from reports.queries.recipients import Plan


class Recipients(View):
    """One page with three small forms; `what` says which of them was sent."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page(request)

    def post(self, request: HttpRequest) -> HttpResponse:
        what = request.POST.get("what", "")
        if what == "strike":
            return self._strike(request)
        forms = self._forms(request, sent=what)
        form = forms.get(what)
        if form is None:
            return self._page(request, problem=_("Nothing was chosen. Nothing was changed."), status=422)
        if not form.is_valid():
            return self._page(request, forms, status=422)
        try:
            told, wrong = self._done(what, form, Act(cast(User, request.user)))
        except REFUSALS as error:
            return self._page(request, forms, status=refused_in(form, error))
        if wrong:
            return self._page(request, forms, problem=told, status=502)
        messages.success(request, told)
        return redirect("mail_recipients")

    def _done(self, what: str, form: Form, act: Act) -> tuple[str, bool]:
        """(what to say, whether it went wrong)."""
        stated = form.cleaned_data
        if what == "list":
            acts.list_address(stated["address"], depot=stated["depot"], act=act)
            return _("%s is mailed from now on.") % stated["address"], False
        if what == "plan":
            acts.set_plan(Plan(**stated), act=act)
            return _("The hours are kept."), False
        permissions.check_can(act.by, "set_mail")
        posted = send_test_mail(stated["address"])
        if posted.taken and not reads.mail_server_is_set():
            return _("No mail server is set (EMAIL_URL), so the test mail reached nobody."), True
        return posted.sentence, not posted.taken

    def _strike(self, request: HttpRequest) -> HttpResponse:
        address = request.POST.get("address", "").replace("\x00", "")[:254]
        try:
            acts.strike_address(address, act=Act(cast(User, request.user)))
        except REFUSALS as error:
            status = 403 if isinstance(error, permissions.NotAllowed) else 422
            return self._page(request, problem=str(error), status=status)
        messages.success(request, _("%s is not mailed any more.") % address)
        return redirect("mail_recipients")

    def _forms(self, request: HttpRequest, *, sent: str = "") -> dict[str, Form]:
        by = cast(User, request.user)

        def data(what: str) -> Any:
            return request.POST if sent == what else None

        return {
            "list": AddressForm(data("list"), by=by),
            "plan": PlanForm(data("plan"), initial=vars(reads.plan())),
            "test": TrialForm(data("test"), initial={"address": by.email}),
        }

    def _page(
        self,
        request: HttpRequest,
        forms: dict[str, Form] | None = None,
        *,
        problem: str = "",
        status: int = 200,
    ) -> HttpResponse:
        by = cast(User, request.user)
        may_set, bound = permissions.can(by, "set_mail"), bound_to(by)
        page = {
            "title": _("Who is mailed"),
            "problem": problem,
            "forms": (forms or self._forms(request)) if may_set else None,
            "may_set_hours": bound is None,
            "plan": reads.plan(),
            "supervisors": reads.supervisors(),
            "listed": [
                {"row": one, "since": moment(one.at), "may_strike": may_set and bound in (None, one.depot)}
                for one in reads.listed()
            ],
            "unmailed": reads.unmailed(),
            "nobody": not reads.recipients(),
            "no_server": not reads.mail_server_is_set(),
        }
        return render(request, "reports/mail_recipients.html", page, status=status)
