"""Test certificates: found, printed one by one or together, and checked by their number and code."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, cast
from urllib.parse import urlencode
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from gear import queries, wording
from gear.models import Entry, Item, User
from gear.queries.proofs import Proofs
from gear.views.visitors import count_miss, has_guessed_too_often
from inspections.models import OUTCOME_NAMES
from inspections.queries import register
from reports.pdf import PAPERS, NotSet
from reports.pdf.certificates import Batch, Heading, batch_pdf, certificate_pdf
from reports.queries.certificate_choice import WAYS, Choice, NothingMeant, chosen
from reports.queries.certificates import MOST, Checked, Issued, checked, issued_for, proofs_for
from reports.rules import certificate_check
from reports.rules.certificate import tally
from reports.wording.certificates import RESULTS, Dates, Told, standing_sentence, tell

log = logging.getLogger(__name__)

PROGRAM = Path(certificate_check.__file__)


def page(request: HttpRequest) -> HttpResponse:
    """The tests that fit, each with its certificate; all of them together as one PDF."""
    asked = _asked(request)
    context: dict[str, Any] = {"title": _("Certificates"), "ways": WAYS.items(), **asked}
    if not asked["what"]:
        return render(request, "reports/certificates.html", context)
    try:
        choice = chosen(asked["way"], asked["what"])
    except NothingMeant as error:
        return render(request, "reports/certificates.html", {**context, "problem": str(error)}, status=404)
    total, untested = choice.tests.count(), choice.untested()
    rows = [
        {
            "item_no": row.item.item_no,
            "heading": row.item.item_type,
            "day": wording.day(row.tested_on),
            "outcome": OUTCOME_NAMES[row.outcome],
            "certified": row.outcome == "accepted",
            "report_no": row.report_no,
            "number": f"{row.item.item_no}/{row.entry.position}",
            "address": reverse("certificate", args=[row.pk]),
        }
        for row in choice.tests[:MOST]
    ]
    context |= {"choice": choice, "rows": rows, "total": total, "most": MOST, "untested": untested}
    context["query"] = urlencode({"by": asked["way"], "what": asked["what"]})
    return render(request, "reports/certificates.html", context)


def _asked(request: HttpRequest) -> dict[str, str]:
    way = request.GET.get("by", "item")
    return {"way": way if way in WAYS else "item", "what": request.GET.get("what", "").strip()}


def certificate(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One certificate or test record as a PDF, as often as it is asked for and for ever the same."""
    entry = get_object_or_404(
        Entry.objects.filter(kind__in=("tested", "corrected"), item__isnull=False), pk=pk
    )
    issued = issued_for([entry])
    if issued[0].certificate is None:
        return _refused(request, _not_certified(issued[0]), status=409)
    attached, proofs = proofs_for(issued)
    told = _told(issued)[0]
    return _sent(
        request,
        lambda paper: certificate_pdf(
            told,
            heading=_heading(),
            proof=_proof(issued[0], proofs),
            attached=attached,
            paper=paper,
        ),
        name=told.number,
    )


def batch(request: HttpRequest) -> HttpResponse:
    """The certificates of all tests that fit, a line each, as one PDF."""
    asked = _asked(request)
    try:
        choice = chosen(asked["way"], asked["what"])
    except NothingMeant as error:
        return _refused(request, str(error), status=404)
    rows = list(choice.tests[: MOST + 1])
    if not rows:
        return _refused(request, _("There is no test to certify."), status=404)
    if len(rows) > MOST:
        told = _(
            "More than %d tests: that is too many for one paper. Narrow it, for example by report or day."
        )
        return _refused(request, told % MOST, status=400)
    issued = issued_for([row.entry for row in rows])
    attached, proofs = proofs_for(issued)
    made = _batch(choice, issued, proofs)
    return _sent(
        request,
        lambda paper: batch_pdf(made, heading=_heading(), attached=attached, paper=paper),
        name=asked["what"],
    )


def _batch(choice: Choice, issued: Sequence[Issued], proofs: Proofs) -> Batch:
    told = _told(issued)
    certificates = [one.certificate for one in issued if one.certificate]
    totals = [(str(RESULTS[word]), count) for word, count in tally(certificates).items()]
    untested = choice.untested()
    totals += [(_("No test on record"), len(untested))] if untested else []
    sources = {row.source: row for one in told for row in (*one.figures, *one.max_use)}
    return Batch(
        choice.title,
        [one for one in told if one.certifies],
        [one for one in told if not one.certifies],
        [*totals, (_("Lines"), len(told))],
        untested,
        [_not_certified(one) for one in issued if one.certificate is None],
        _("Sealed: %(sealed)d of %(all)d entries.")
        % {"sealed": len(proofs.leaves), "all": _entries_in(issued)},
        [sources[source] for source in sorted(sources)],
    )


def _entries_in(issued: Sequence[Issued]) -> int:
    return len(
        {entry["id"] for one in issued if one.certificate for entry in one.certificate.entries.values()}
    )


def _not_certified(one: Issued) -> str:
    told = {"item": one.item_no, "why": one.problem or _("the entry states no test")}
    return (
        _("%(item)s: nothing can be certified: %(why)s. Tell the administrator: verify_ledger says more.")
        % told
    )


def _told(issued: Sequence[Issued]) -> list[Told]:
    """The certificates in words, each with what follows from the test at this moment where it still makes it good."""
    certified = [one for one in issued if one.certificate]
    names = {
        person.username: person.name for person in User.objects.filter(username__in=_named_in(certified))
    }
    asked = queries.question()
    items = Item.objects.filter(pk__in={one.entry.item_id for one in certified}).order_by("item_no")
    answers = {facts.item_no: (answer, facts) for answer, facts in queries.judged(items, asked)}
    as_of, on_file = _moment(asked.asked_at), register()
    told = []
    for one in certified:
        assert one.certificate is not None
        answer, facts = answers.get(one.item_no, (None, None))
        dated = facts is not None and facts.accepted is not None and facts.accepted.entry == str(one.of)
        stands = answer is not None and answer.verdict == "good" and dated and not facts.voided  # type: ignore[union-attr]
        dates = Dates(as_of)
        if stands and answer:
            dates = Dates(as_of, answer.good_through, answer.winning_clock)
        told.append(tell(one.certificate, one.standing, names=names, on_file=on_file, dates=dates))
    return told


def _named_in(certified: Sequence[Issued]) -> set[str]:
    """The usernames that stand in certificates."""
    places = ("recorded_by", "test.readings.operator", "test.readings.checker")
    facts = [one.certificate.facts for one in certified if one.certificate]
    return {one[place] for one in facts for place in places if one.get(place)}


def _moment(at: Any) -> str:
    local = localtime(at)
    return f"{wording.day(local.date())}, {date_format(local, 'H:i')}"


def _heading() -> Heading:
    asked = queries.question()
    address = f"{settings.BASE_URL.rstrip('/')}{reverse('certificate_check')}"
    return Heading(
        _moment(asked.asked_at), settings.TIME_ZONE, settings.SITE_NAME, address, demo=settings.DEMO
    )


def _proof(one: Issued, proofs: Proofs) -> dict[str, str]:
    leaf = proofs.leaves.get(one.entry.pk)
    sealed = _("no seal covers it yet")
    if leaf is not None:
        sealed = f"{leaf['seal']}:{proofs.seals[leaf['seal']]['hash']}"
    return {_("Entry"): str(one.entry.pk), _("Hash of the entry"): one.entry.hash, _("Seal"): sealed}


def _sent(request: HttpRequest, made: Any, *, name: str) -> HttpResponse:
    paper = request.GET.get("paper") or PAPERS[0]
    if paper not in PAPERS:
        return _refused(request, _("The paper must be one of %s.") % ", ".join(PAPERS), status=400)
    try:
        content = made(paper)
    except NotSet as error:
        log.error("The PDF of a certificate could not be made: %s", error.detail)
        return _refused(request, str(error), status=503)
    plain = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in name)[:60]
    file = f"{'DEMO-' if settings.DEMO else ''}certificate-{plain}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{file}"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


def _refused(request: HttpRequest, problem: str, *, status: int) -> HttpResponse:
    context = {"title": _("Certificates"), "ways": WAYS.items(), "problem": problem, **_asked(request)}
    return render(request, "reports/certificates.html", context, status=status)


def check(request: HttpRequest) -> HttpResponse:
    """Whether a certificate is what the record says, by its number and code, for anybody who holds the paper.

    Whoever has not signed in reads what the paper says too, but no names and nothing that somebody typed.
    """
    known = request.user.is_authenticated
    number, code = (request.GET.get(name, "").strip()[:120] for name in ("number", "code"))
    context: dict[str, Any] = {"title": _("Check a certificate"), "number": number, "code": code}
    if not number or not code:
        return render(request, "reports/certificate_check.html", context)
    if not known and has_guessed_too_often(request):
        context["problem"] = _("Too many tries from here. Wait a minute, then try again.")
        return render(request, "reports/certificate_check.html", context, status=429)
    found = checked(number, code)
    if not known and found.word != "genuine":
        count_miss(request)
    context |= _result(found, cast(User, request.user) if known else None)
    return render(request, "reports/certificate_check.html", context)


def _result(found: Checked, person: User | None) -> Mapping[str, Any]:
    if found.issued is None or found.issued.certificate is None:
        return {"word": found.word}
    told = tell(found.issued.certificate, found.issued.standing, names={}, on_file=register())
    standing = found.issued.standing
    context = {"word": found.word, "told": told, "standing": standing.word}
    if person is None:
        return context | {"rows": [*told.identity, *told.max_use, *told.test, *told.arithmetic]}
    return context | {
        "rows": [*told.identity, *told.max_use, *told.test, *told.arithmetic, *told.papers, *told.record],
        "doubts": told.doubts,
        "what_became": standing_sentence(standing),
        "address": reverse("certificate", args=[found.issued.entry.pk]),
    }


def program(request: HttpRequest) -> HttpResponse:
    """The program that checks a certificate without this service, to be kept and read by whoever uses it."""
    headers = {"Content-Disposition": f'attachment; filename="{PROGRAM.name}"'}
    return HttpResponse(PROGRAM.read_bytes(), content_type="text/x-python; charset=utf-8", headers=headers)
