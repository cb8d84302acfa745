"""Print labels on stock: choose what, see what will come, print, and take the sheets as a PDF."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from typing import Any, cast
from uuid import UUID, uuid4

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from gear import labels, queries
from gear.actions.acting import REFUSALS, Act
from gear.actions.printing import print_labels
from gear.actions.submissions import once
from gear.forms.label_sheets import ChooseForm, PrintForm
from gear.labels import Label, Left
from gear.models import LabelPrint, User
from gear.pdf import NotSet
from gear.pdf.label_sheets import labels_pdf
from gear.pdf.label_strip import strip_pdf
from gear.queries import labelling
from gear.rules.stock import STOCKS, Stock
from gear.views.moments import moment
from gear.views.sending import refused_in, sent_values

log = logging.getLogger(__name__)


def label_stock(request: HttpRequest) -> HttpResponse:
    """What to print and on what; once that is chosen, what will come and the button to print it."""
    person = cast(User, request.user)
    if request.method == "POST":
        return _sent(request, person)
    if "which" not in request.GET:
        given = {name: value for name in request.GET if (value := request.GET.get(name))}
        return _page(request, ChooseForm(by=person, initial={**ChooseForm.FIRST, **given}))
    data = request.GET.copy()
    for name, value in ChooseForm.FIRST.items():
        if not data.get(name):
            data[name] = str(value)
    form = ChooseForm(data, by=person)
    return _page(request, form, status=200 if form.is_valid() else 422)


def _sent(request: HttpRequest, person: User) -> HttpResponse:
    form = PrintForm(request.POST, by=person)
    if not form.is_valid():
        return _page(request, form, status=422)
    stated, doing = form.cleaned_data, Act(person, id=form.cleaned_data["id"])

    def work() -> dict[str, Any]:
        made, _left = _labels_on(stated["item_nos"], STOCKS[stated["stock"]], dates=stated["dates"] == "on")
        row = print_labels(
            [label.code for label in made],
            stock=stated["stock"],
            start=stated["start"],
            copies=stated["copies"],
            dates=stated["dates"] == "on",
            shift=(stated["shift_x"], stated["shift_y"]),
            reason=stated["reason"] or "",
            act=doing,
        )
        return {"labels": len(row.codes)}

    try:
        once(doing.id, act="print_labels", body=sent_values(request, form), by=person, work=work)
    except REFUSALS as error:
        return _page(request, form, status=refused_in(form, error))
    return redirect("label_print", doing.id)


def _labels_on(item_nos: Sequence[str], stock: Stock, *, dates: bool) -> tuple[list[Label], list[Left]]:
    asked = queries.question()
    return labels.labels_for(
        queries.seen_many(item_nos, asked),
        asked,
        pack=queries.rules_for(asked).pack,
        stock=stock,
        dates=dates,
        demo=settings.DEMO,
    )


def _page(request: HttpRequest, form: ChooseForm, *, status: int = 200) -> HttpResponse:
    page: dict[str, Any] = {
        "title": _("Labels"),
        "form": form,
        "which_fields": [form[name] for name in ("which", "items", "set_no", "batch", "holder")],
        "paper_fields": [form[name] for name in ("stock", "dates", "copies", "start", "shift_x", "shift_y")],
        "never": labelling.never_printed(cast(User, request.user).depot).count(),
    }
    stated = getattr(form, "cleaned_data", {})
    if stated.get("item_nos") is not None and "stock" in stated and "copies" in stated:
        page["preview"] = _preview(form, stated)
    return render(request, "gear/label_stock.html", page, status=status)


def _preview(form: ChooseForm, stated: dict[str, Any]) -> dict[str, Any]:
    stock, start, copies = STOCKS[stated["stock"]], stated["start"], stated["copies"]
    made, left = _labels_on(stated["item_nos"], stock, dates=stated["dates"] == "on")
    before = labelling.printed_before([label.code for label in made])
    count = len(made) * copies
    sheets = -(-(start - 1 + count) // stock.per_page) if stock.is_sheet and count else count
    return {
        "labels": [{"at": label, "again": label.code in before} for label in made],
        "left": left,
        "count": count,
        "sheets": sheets,
        "is_sheet": stock.is_sheet,
        "again": len(before),
        "positions": [
            {"number": number, "taken": start <= number < start + count}
            for number in range(1, stock.per_page + 1)
        ],
        "columns": stock.columns,
        "hidden": [(name, form.data.get(name, "")) for name in ChooseForm.base_fields],
        "id": form.data.get("id") or uuid4(),
        "reason": (form if isinstance(form, PrintForm) else PrintForm(by=form.by))["reason"],
    }


def label_print(request: HttpRequest, pk: UUID, *, problem: str = "", status: int = 200) -> HttpResponse:
    """One print: what it holds, the way to its PDF while its day lasts, and where the next one may begin."""
    row = _print(pk)
    item_nos = labelling.items_of(row.codes)
    numbers = [item_nos[code] for code in row.codes if code in item_nos]
    stock = STOCKS.get(row.stock)
    again = {"which": "items", "items": ", ".join(numbers)}
    used = row.start - 1 + len(row.codes) * row.copies
    page = {
        "title": _("Labels to print"),
        "print": row,
        "stock_name": labels.NAMES.get(row.stock, row.stock),
        "count": len(row.codes) * row.copies,
        "at": moment(row.at),
        "by": row.by.name,
        "numbers": numbers,
        "is_today": _is_today(row),
        "problem": problem,
        "next": used % stock.per_page + 1 if stock and used % stock.per_page else None,
        "again": f"{reverse('labels')}?{urlencode({**again, 'stock': row.stock})}",
    }
    return render(request, "gear/label_print.html", page, status=status)


def _print(pk: UUID) -> LabelPrint:
    row = LabelPrint.objects.select_related("by").filter(pk=pk).first()
    if row is None:
        raise Http404(_("There is no such print."))
    return row


def _is_today(row: LabelPrint) -> bool:
    """Labels tell what held on a day: a PDF is made on the day of its print alone."""
    return timezone.localdate(row.at) == timezone.localdate()


def label_sheet(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The labels of a print as a PDF, as they stand on their stock; the place of one that is void by now is empty."""
    row = _print(pk)
    stock = STOCKS.get(row.stock)
    if stock is None or not _is_today(row):
        problem = _(
            "These labels were printed on another day. Print them again, so that they tell what holds now."
        )
        return label_print(request, pk, problem=problem, status=410)
    item_nos = labelling.items_of(row.codes)
    numbers = [item_nos[code] for code in row.codes if code in item_nos]
    made = {label.code: label for label in _labels_on(numbers, stock, dates=row.dates)[0]}
    sheets = labels.arrange(
        [made.get(code) for code in row.codes],
        stock=stock,
        base_url=settings.BASE_URL,
        start=row.start,
        copies=row.copies,
    )
    try:
        content = labels_pdf(sheets, stock=stock, as_of=_as_of(), shift=(row.shift_x, row.shift_y))
    except NotSet as error:
        log.error("The PDF of label print %s could not be made: %s", pk, error.detail)
        return label_print(request, pk, problem=str(error), status=503)
    return _pdf(content, f"labels-{row.stock}-{timezone.localdate():%Y-%m-%d}.pdf")


def _as_of() -> str:
    return f"{moment(timezone.now())} ({settings.TIME_ZONE})"


def label_test_strip(request: HttpRequest) -> HttpResponse:
    """One sheet of a stock by which a printer is set up."""
    stock = STOCKS.get(request.GET.get("stock", "letter_30"))
    if stock is None:
        raise Http404(_("There is no such label stock."))
    try:
        content = strip_pdf(stock, as_of=_as_of(), base_url=settings.BASE_URL)
    except NotSet as error:
        log.error("The test strip could not be made: %s", error.detail)
        return HttpResponse(str(error), status=503, content_type="text/plain; charset=utf-8")
    return _pdf(content, f"test-strip-{stock.name}.pdf")


def _pdf(content: bytes, name: str) -> HttpResponse:
    demo = "DEMO-" if settings.DEMO else ""
    headers = {"Content-Disposition": f'inline; filename="{demo}{name}"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


def label_log(request: HttpRequest) -> HttpResponse:
    """What was printed, by whom and why again; and every label that took the place of another."""
    prints = labelling.prints()[:200]
    page = {
        "title": _("Label log"),
        "prints": [
            {
                "print": row,
                "at": moment(row.at),
                "by": row.by.name,
                "stock": labels.NAMES.get(row.stock, row.stock),
                "count": len(row.codes) * row.copies,
            }
            for row in prints
        ],
        "replaced": [{**row, "at": moment(row["at"])} for row in labelling.replaced_labels()[:200]],
    }
    return render(request, "gear/label_log.html", page)
