"""The page of one bench session: scan, reading, Enter. With its script rows travel as JSON, without it as forms."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from gear import permissions
from gear.actions import witnesses
from gear.actions.acting import REFUSALS, Act
from gear.models import Item, ItemState, User
from gear.permissions import NotAllowed
from gear.queries import described
from inspections import queries
from inspections.actions.bench_judging import OnTheBench, find_item, on_the_bench
from inspections.actions.bench_rows import confirm_rows, give_looks, save_row, strike_row
from inspections.forms.bench import CheckerForm, RowForm, both_looks
from inspections.models import BenchRow, BenchSession
from inspections.queries.bench import RECENT, Board, RowNow
from inspections.rules.acceptance import FAILED
from inspections.rules.bench import GROUND
from inspections.rules.bench_scan import notices
from inspections.rules.testfacts import plain
from inspections.views import bench_words as told
from inspections.views.bench_sessions import heading


def bench_session(request: HttpRequest, session_no: str) -> HttpResponse:
    """The session: what is on the bench, the verdict of the row just saved, counts, warnings, the newest rows."""
    session = _session(session_no)
    found = queries.board(session)
    page = {**heading(session, _user(request)), **_board(request, found), **_words(None), "panel": None}
    status = 200
    if page["may_write"]:
        page |= _words(RowForm(initial={"id": uuid4(), **_sticky(found)}))
        if scan := request.GET.get("scan", "").strip():
            try:
                page["panel"] = _panel(request, session, found, scan)
            except REFUSALS as error:
                page |= {"trouble": str(error), "scanned": scan[:300]}
                status = 404
            else:
                page["form"].initial |= page["panel"]["first"]
    if row := request.GET.get("row"):
        page["verdict"] = next((line for line in page["lines"] if str(line.row.pk) == row), None)
    page["title"] = _("Bench session %s") % session.number
    return render(request, "inspections/bench_session.html", page, status=status)


def bench_scan(request: HttpRequest, session_no: str) -> HttpResponse:
    """What was scanned, as JSON for the page's script: the panel, the kind of reading, and the row that is there."""
    session = _session(session_no)
    try:
        panel = _panel(request, session, queries.board(session), request.GET.get("scan", ""))
    except REFUSALS as error:
        return JsonResponse({"state": "refused", "message": str(error)}, status=404)
    html = render_to_string("inspections/bench_panel.html", {"panel": panel, "session": session}, request)
    first = {name: "" if value is None else str(value) for name, value in panel["first"].items()}
    known = {name: panel[name] for name in ("item_no", "kind", "mode", "bars", "warns")}
    return JsonResponse({"state": "found", "panel": html, "first": first, **known})


def bench_rows(request: HttpRequest, session_no: str) -> HttpResponse:
    """GET: the board as it is now, for those who look on. POST: one row, stored before it is answered."""
    session = _session(session_no)
    if request.method != "POST":
        return JsonResponse(_board_json(request, queries.board(session)))
    form = RowForm(request.POST)
    if not form.is_valid():
        field, errors = next(iter(form.errors.items()))
        return _refused(request, session, str(errors[0]), code="INVALID", field=str(field))
    try:
        item = find_item(form.cleaned_data["scan"])
        typed = form.typed(item.item_type.kind)
        row = save_row(session, typed, act=Act(_user(request), id=form.cleaned_data["id"]))
    except REFUSALS as error:
        field = {"leakage_ma": "reading", "resistance_mohm": "reading", "applied_v": "applied_kv"}
        name = getattr(error, "field", "")
        code = getattr(error, "code", type(error).__name__)
        status = 403 if isinstance(error, NotAllowed) else 422
        return _refused(request, session, str(error), code=code, field=field.get(name, name), status=status)
    return _saved(request, session, row)


def _saved(request: HttpRequest, session: BenchSession, row: BenchRow) -> HttpResponse:
    if not _wants_json(request):
        return redirect(f"{reverse('bench_session', args=[session.number])}?{urlencode({'row': row.pk})}")
    found = queries.board(session)
    one = found.find(row.pk)
    if one is None:
        return JsonResponse(
            {"state": "recorded", "tone": "void", "verdict": "", **_board_json(request, found)}
        )
    line = told.line(one)
    html = render_to_string("inspections/bench_verdict.html", {"verdict": line}, request)
    body = {
        "state": "recorded",
        "row": str(row.pk),
        "item_no": line.item_no,
        "tone": line.tone,
        "verdict": html,
    }
    return JsonResponse({**body, **_board_json(request, found)})


def _refused(
    request: HttpRequest,
    session: BenchSession,
    message: str,
    *,
    code: str,
    field: str = "",
    status: int = 422,
) -> HttpResponse:
    if _wants_json(request):
        body = {"state": "refused", "code": code, "field": field, "message": message}
        return JsonResponse(body, status=status)
    found = queries.board(session)
    words = {**_words(RowForm(request.POST)), "trouble": message}
    page = {**heading(session, _user(request)), **_board(request, found), **words}
    try:
        page["panel"] = _panel(request, session, found, request.POST.get("scan", ""))
    except REFUSALS:
        page["scanned"] = request.POST.get("scan", "")[:300]
    page["title"] = _("Bench session %s") % session.number
    return render(request, "inspections/bench_session.html", page, status=status)


def bench_row(request: HttpRequest, session_no: str, pk: UUID) -> HttpResponse:
    """Strike a row, or state a look that was still to come."""
    session = _session(session_no)
    row = get_object_or_404(BenchRow.objects.select_related("session"), pk=pk, session=session)
    act = Act(_user(request))

    def work() -> BenchRow:
        if request.POST.get("do") == "look":
            stated = request.POST
            before, after = both_looks(stated.get("look_before", ""), stated.get("look_after", ""))
            given = {"before": before, "after": after}
            if row.look_before:
                given["before"] = ""
            return give_looks(row, act=act, **given)
        checker = None
        if row.outcome == FAILED:
            named = User.objects.filter(pk=_number(request.POST.get("checker"))).first()
            checker = witnesses.confirm(named, request.POST.get("secret", ""), act=act)
        return strike_row(row, why=request.POST.get("why", ""), checker=checker, act=act)

    return _done(request, session, work)


def bench_confirm(request: HttpRequest, session_no: str) -> HttpResponse:
    """Another person agrees with rows that are in doubt, by password or PIN; the name stands beside them."""
    session = _session(session_no)
    form = CheckerForm(request.POST, by=_user(request))
    ids = [pk for pk in map(_uuid, request.POST.getlist("row")) if pk]

    def work() -> BenchRow | None:
        act = Act(_user(request))
        named = form.cleaned_data.get("checker") if form.is_valid() else None
        checker = witnesses.confirm(named, request.POST.get("secret", ""), act=act)
        rows = confirm_rows(session, ids, checker=checker, act=act)
        return rows[-1] if rows else None

    return _done(request, session, work)


def _done(request: HttpRequest, session: BenchSession, work: Callable[[], BenchRow | None]) -> HttpResponse:
    try:
        row = work()
    except REFUSALS as error:
        name, code = getattr(error, "field", ""), getattr(error, "code", "")
        return _refused(request, session, str(error), code=code, field=name)
    if row is not None and not row.struck:
        return _saved(request, session, row)
    if _wants_json(request):
        body = {"state": "recorded", "tone": "void", "verdict": ""}
        return JsonResponse({**body, **_board_json(request, queries.board(session))})
    messages.success(request, _("Struck out. It stays readable below."))
    return redirect("bench_session", session.number)


KEYS = (
    ("B", _lazy("breakdown")),
    ("F", _lazy("flashover")),
    ("R", _lazy("rejected by eye")),
    ("C", _lazy("clean first")),
    ("T", _lazy("in doubt by eye")),
    ("L", _lazy("look after later")),
    ("K", _lazy("another kV")),
    ("W", _lazy("a reason")),
    ("Esc", _lazy("leave this piece")),
)


def _words(form: RowForm | None) -> dict[str, Any]:
    """The row form with what stands around it."""
    otherwise = [form[name] for name in RowForm.OTHERWISE] if form else []
    return {"form": form, "otherwise": otherwise, "keys": KEYS}


def _panel(request: HttpRequest, session: BenchSession, found: Board, scan: str) -> dict[str, Any]:
    """The item on the bench: who it is, what to apply, what speaks against it, and the row that is there already."""
    item = find_item(scan)
    bench = on_the_bench([item], session)[0]
    before = queries.row_before(found, by_id=_user(request).pk)
    said = notices(bench.facts, purpose=session.purpose, before=before)
    there = found.of_item(item)
    mode = _mode(there)
    identity = bench.facts.identity
    is_read = bench.sheet.reads and (session.supply == "ac" or item.item_type.kind == GROUND)
    kind = "jumper" if item.item_type.kind == GROUND else "reads" if is_read else "other"
    return {
        "item": item,
        "item_no": item.item_no,
        "heading": described.heading(identity),
        "serial": item.serial,
        "figures": told.figures(bench.sheet, identity, purpose=session.purpose, supply=session.supply),
        "mates": _mates(item, found),
        "set_no": bench.facts.set_no,
        "notices": [told.notice(one) for one in said],
        "missing": bench.sheet.missing,
        "there": told.line(there) if there else None,
        "row_pk": there.row.pk if there else None,
        "needs_checker": bool(there and there.outcome == "failed"),
        "checker": CheckerForm(by=_user(request)),
        "kind": kind,
        "mode": mode,
        "bars": any(one.bars for one in said) or mode == "posted",
        "warns": bool(said) or mode in ("correct", "posted"),
        "first": _first(bench, there, mode),
    }


def _mode(there: RowNow | None) -> str:
    """What a scan is for: a new row, the look still to come, a void row once more, or a row to correct."""
    if there is None:
        return "new"
    if there.row.test_id is not None:
        return "posted"
    if there.lacks_look and there.row.look_before + there.row.look_after:
        return "look"
    return "again" if there.outcome == "void" else "correct"


def _first(bench: OnTheBench, there: RowNow | None, mode: str) -> dict[str, Any]:
    """First values of the row form."""
    first: dict[str, Any] = {"scan": bench.item.item_no, "replaces": "", "again": ""}
    if there is None or mode == "look":
        return first
    if mode == "again":
        return first | {"again": "on"}
    row = there.row
    value = row.leakage_ma if row.leakage_ma is not None else row.resistance_mohm
    return first | {
        "replaces": row.pk,
        "reading": "" if value is None else plain(value),
        "cable_temp_c": "" if row.cable_temp_c is None else plain(row.cable_temp_c),
    }


def _mates(item: Item, found: Board) -> list[tuple[str, str]]:
    """(item number, what its row says or nothing) of the others in its set."""
    others = (
        ItemState.objects.filter(gear_set__itemstate=item.pk)
        .exclude(pk=item.pk)
        .select_related("item")
        .order_by("pk")
    )
    rows = {one.row.item_id: one for one in found.rows}
    return [
        (state.item.item_no, str(told.OUTCOMES[rows[state.pk].outcome]) if state.pk in rows else "")
        for state in others
    ]


def _board(request: HttpRequest, found: Board) -> dict[str, Any]:
    """Counts, warnings and the newest rows, in words."""
    lines = [told.line(one) for one in found.rows]
    in_doubt = [one.row.pk for one in found.rows if "BETTER_THAN_BEFORE" in one.doubts]
    by_position = {one.row.position: one.row.pk for one in found.rows}
    runs = [(told.run(run), [by_position[place] for place in run.positions]) for run in found.runs]
    return {
        "board": found,
        "session": found.session,
        "lines": lines,
        "newest": list(reversed(lines[-RECENT:])),
        "older": list(reversed(lines[:-RECENT])),
        "struck": [(row, told.reading(row), told.OUTCOMES[row.outcome]) for row in reversed(found.struck)],
        "counts": [(told.SHAPES[name], told.OUTCOMES[name], found.counts[name]) for name in told.OUTCOMES],
        "drifts": [told.drift(one) for one in found.drifts],
        "runs": runs,
        "in_doubt": in_doubt,
        "last": next((one.item_no for one in reversed(lines) if one.row.by_id == _user(request).pk), ""),
        "sets": told.ground_sets(queries.ground_sets(found)),
        "waiting_looks": sum(line.lacks_look for line in lines),
        "checker": CheckerForm(by=_user(request)) if runs or in_doubt else None,
        "may_write": found.session.is_open and permissions.can(_user(request), "log_test"),
    }


def _board_json(request: HttpRequest, found: Board) -> dict[str, Any]:
    page = _board(request, found)
    html = render_to_string("inspections/bench_board.html", page, request)
    return {
        "board": html,
        "stop": bool(page["runs"]),
        "drift": bool(page["drifts"]),
        "open": found.session.is_open,
    }


def _sticky(found: Board) -> dict[str, Any]:
    """Method, conductor and test current of the jumper before."""
    rows = [one.row for one in found.rows if one.row.method or one.row.material or one.row.test_a]
    if not rows:
        return {}
    last = rows[-1]
    ampere = "" if last.test_a is None else plain(last.test_a)
    return {"method": last.method, "material": last.material, "test_a": ampere}


def _session(session_no: str) -> BenchSession:
    return get_object_or_404(BenchSession.objects.select_related("opened_by", "posted_by"), number=session_no)


def _user(request: HttpRequest) -> User:
    return cast(User, request.user)


def _wants_json(request: HttpRequest) -> bool:
    return "application/json" in request.headers.get("Accept", "")


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _number(text: str | None) -> int | None:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 12 else None
