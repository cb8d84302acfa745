"""Trucks: what each carries, what it should carry, and what was found when somebody walked round it."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, cast
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count
from django.forms import BaseFormSet, Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views import View

from gear import permissions
from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import Holder, User
from gear.permissions import bound_to
from gear.queries import question
from gear.queries.entry_words import holder_word
from gear.views.addresses import address_of
from gear.views.sending import refused_in, sent_values
from inspections.actions.loads import add_class, change_list, fit_truck
from inspections.forms.loads import ClassForm, FittingForm, ListChangeForm, LoadLineFormSet
from inspections.models import LoadCheck, LoadList, TruckClass
from inspections.queries import load_words
from inspections.queries import loads as reads
from inspections.rules import loadlist
from inspections.rules.loadlist import Line
from inspections.views.load_words import told_check, told_check_row, told_row

CHECKS_A_PAGE = 50


def trucks(request: HttpRequest) -> HttpResponse:
    """Every truck with its class and its last walk; a constant number of queries."""
    rows = list(reads.trucks(bound_to(cast(User, request.user))))
    classes, walks = reads.classes_of(rows), reads.last_walks(rows)
    shown = [
        {
            "truck": one,
            "name": holder_word(one.as_fact()),
            "cls": classes.get(one.pk),
            "walk": told_check_row(walks[one.pk]) if one.pk in walks else None,
        }
        for one in rows
    ]
    page = {
        "title": _("Trucks"),
        "trucks": shown,
        "missing": [
            {"item_no": one.item_no, "truck": one.truck, "at": one.check.finished_at}
            for one in reads.missing_from_last_walk(rows)
        ],
    }
    return render(request, "inspections/trucks.html", page)


def truck(request: HttpRequest, pk: int) -> HttpResponse:
    """One truck: what is on record with it, what its class asks for, and its last walk."""
    one = get_object_or_404(Holder.objects.select_related("crew", "depot"), pk=pk, kind="truck")
    form = FittingForm(request.POST if request.method == "POST" else None, initial=_fitted(one))
    status = 200
    if request.method == "POST":
        answer, status = _fit(request, one, form)
        if answer is not None:
            return answer
    return render(request, "inspections/truck.html", _truck_page(request, one, form), status=status)


def _fitted(one: Holder) -> dict[str, Any]:
    cls = reads.classes_of([one]).get(one.pk)
    return {"id": uuid4(), "truck_class": str(cls.pk) if cls else ""}


def _fit(request: HttpRequest, one: Holder, form: FittingForm) -> tuple[HttpResponse | None, int]:
    if not form.is_valid():
        return None, 422
    doing = Act(cast(User, request.user), id=form.cleaned_data["id"])

    def work() -> dict[str, Any]:
        return {"fitting": str(fit_truck(one, form.chosen, act=doing).pk)}

    try:
        body = {"truck": one.pk, **sent_values(request, form)}
        once(doing.id, act="fit_truck", body=body, by=cast(User, request.user), work=work)
    except REFUSALS as error:
        return None, refused_in(form, error)
    messages.success(request, _("%s: the class is kept.") % one.name)
    return redirect("truck", pk=one.pk), 302


def _truck_page(request: HttpRequest, one: Holder, form: FittingForm) -> dict[str, Any]:
    asked = question()
    people = list(reads.crew_people(one))
    rows = reads.on_record(one, people=people, asked=asked)
    lines = reads.list_of(one)
    walk = reads.last_walks([one]).get(one.pk)
    covers = reads.covers(loadlist.from_json(lines.lines), rows, back_on=asked.as_of) if lines else []
    return {
        "title": holder_word(one.as_fact()),
        "truck": one,
        "rows": [told_row(row) for row in rows if row.holder == one.name],
        "crew": [
            {"name": person.name, "rows": [told_row(row) for row in rows if row.holder == person.name]}
            for person in people
        ],
        "list": lines,
        "covers": [
            {"words": load_words.line_words(cover.line), "aboard": cover.aboard, "short": cover.short}
            for cover in covers
        ],
        "walk": told_check_row(walk) if walk else None,
        "missing": [missing.item_no for missing in reads.missing_from_last_walk([one])],
        "form": form if permissions.can(cast(User, request.user), "edit_load_list") else None,
        "may_move": permissions.can(cast(User, request.user), "move"),
        "sheet": address_of("load_sheet", one.pk),
        "pack": address_of("fallback_pack_truck", one.pk),
    }


# Lists of what a class of truck should carry
def load_lists(request: HttpRequest) -> HttpResponse:
    """Every class with the list in force."""
    lists = reads.newest_lists()
    trucks_of: dict[int, list[str]] = {}
    rows = list(reads.trucks())
    for pk, cls in reads.classes_of(rows).items():
        trucks_of.setdefault(cls.pk, []).append(next(one.name for one in rows if one.pk == pk))
    page = {
        "title": _("Load lists"),
        "classes": [
            {
                "cls": row.truck_class,
                "list": row,
                "lines": [load_words.line_words(line) for line in loadlist.from_json(row.lines)],
                "trucks": sorted(trucks_of.get(pk, [])),
            }
            for pk, row in lists.items()
        ],
        "may_change": permissions.can(cast(User, request.user), "edit_load_list"),
    }
    return render(request, "inspections/load_lists.html", page)


def load_list(request: HttpRequest, pk: int) -> HttpResponse:
    """One class: its list, and every version there ever was."""
    cls = get_object_or_404(TruckClass, pk=pk)
    rows = LoadList.objects.filter(truck_class=cls).select_related("by").order_by("-version")
    page = {
        "title": cls.name,
        "cls": cls,
        "versions": [
            {"list": row, "lines": [load_words.line_words(line) for line in loadlist.from_json(row.lines)]}
            for row in rows.annotate(walks=Count("loadcheck"))
        ],
        "may_change": permissions.can(cast(User, request.user), "edit_load_list"),
    }
    return render(request, "inspections/load_list.html", page)


class LoadListPage(View):
    """The lines of a list, changed together: of a new class, or as the next version of one."""

    def get(self, request: HttpRequest, pk: int | None = None) -> HttpResponse:
        cls = get_object_or_404(TruckClass, pk=pk) if pk else None
        newest = reads.newest_list(cls) if cls else None
        lines = loadlist.from_json(newest.lines) if newest else loadlist.SHIPPED
        first = [asdict(line) for line in lines]
        form = self._form(cls)(initial={"id": uuid4(), "seen": newest.version if newest else 0})
        return self._page(request, cls, form, LoadLineFormSet(initial=first))

    def post(self, request: HttpRequest, pk: int | None = None) -> HttpResponse:
        cls = get_object_or_404(TruckClass, pk=pk) if pk else None
        form, rows = self._form(cls)(request.POST), LoadLineFormSet(request.POST)
        if not (form.is_valid() & rows.is_valid()):
            return self._page(request, cls, form, rows, status=422)
        lines = [line for row in rows if (line := row.line())]
        stated, person = form.cleaned_data, cast(User, request.user)
        doing = Act(person, id=stated["id"])

        def work() -> dict[str, Any]:
            return {"class": _kept(cls, stated, lines, doing).pk}

        try:
            body = {"class": pk, "lines": loadlist.to_json(lines), **sent_values(request, form)}
            answer, _new = once(doing.id, act="load_list", body=body, by=person, work=work)
        except REFUSALS as error:
            return self._page(request, cls, form, rows, status=refused_in(form, error))
        messages.success(request, _("The list is kept as it stands here."))
        return redirect("load_list", pk=answer["class"])

    @staticmethod
    def _form(cls: TruckClass | None) -> type[Form]:
        return ListChangeForm if cls else ClassForm

    def _page(
        self,
        request: HttpRequest,
        cls: TruckClass | None,
        form: Form,
        rows: BaseFormSet,
        *,
        status: int = 200,
    ) -> HttpResponse:
        page = {
            "title": _("Load list: %s") % cls.name if cls else _("Add a class of trucks"),
            "cls": cls,
            "form": form,
            "forms": rows,
            "back": reverse("load_list", args=[cls.pk]) if cls else reverse("load_lists"),
        }
        return render(request, "inspections/load_list_edit.html", page, status=status)


def _kept(cls: TruckClass | None, stated: dict[str, Any], lines: list[Line], act: Act) -> TruckClass:
    if cls is None:
        return add_class(stated["name"], lines, act=act)
    change_list(cls, lines, seen=stated["seen"], reason=stated["reason"] or "", act=act)
    return cls


# Walks
def load_checks(request: HttpRequest) -> HttpResponse:
    """Every walk, the newest first; of one truck with ?truck=."""
    typed = request.GET.get("truck", "")
    one = (
        get_object_or_404(Holder, pk=int(typed), kind="truck")
        if typed.isascii() and typed.isdigit() and len(typed) < 10
        else None
    )
    pages = Paginator(reads.load_checks(one), CHECKS_A_PAGE)
    page = pages.get_page(request.GET.get("page"))
    shown = {
        "title": _("Load checks of %s") % one.name if one else _("Load checks"),
        "truck": one,
        "checks": [told_check_row(row) for row in page],
        "page": page,
    }
    return render(request, "inspections/load_checks.html", shown)


def load_check(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One walk: what was told at the truck, and what the server said when it arrived."""
    row = get_object_or_404(LoadCheck.objects.select_related("truck", "by", "load_list__truck_class"), pk=pk)
    return render(request, "inspections/load_check.html", told_check(row))
