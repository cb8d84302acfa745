"""The signed data that a phone answers from: everything in its scope, with the answers of today and tomorrow."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.http import HttpRequest, JsonResponse
from django.utils import translation
from django.utils.translation import get_language, gettext_lazy
from django.views.decorators.gzip import gzip_page

from gear import queries, wording
from gear.models import Holder, Item, Label, User
from gear.permissions import WORKING
from gear.queries import Question, restored
from gear.queries.questions import rules_today, site_zone
from gear.queries.replacements import spares_of
from gear.rules import codes, moments, visual
from gear.rules.readiness import KINDS
from inspections.field import anchoring, callers, scopes, signing
from inspections.field.callers import Caller
from inspections.field.rows import Row, rows_of, told
from inspections.queries import loads

VERSION = 1
NO_NONCE = gettext_lazy("The question has no number of its own. Load the page again.")


@gzip_page  # sentences repeat: a tenth of the size; nothing in it is secret from who asks
def bundle(request: HttpRequest) -> JsonResponse:
    """Everything that this device may hold, signed. A seal is heard whoever shows it: an older copy of the record knows
    neither the phones that were enrolled since nor who had signed in.
    """
    anchoring.hear(request.GET.get("seal", ""))
    caller = callers.checked_caller(request)
    if isinstance(caller, JsonResponse):
        return caller
    nonce = request.GET.get("nonce", "")
    if not callers.NONCE.fullmatch(nonce):
        return callers.refused("NO_NONCE", NO_NONCE)
    with _language(request):
        try:
            scope = scopes.scope_of(caller, request.GET.get("scope", ""), _name(request))
            numbers = scopes.numbers_in(scope)
        except scopes.NoScope as error:
            return callers.refused("NO_SCOPE", str(error))
        return enveloped({**_bundled(caller, scope, numbers), "nonce": nonce})


def live_answer(request: HttpRequest, code: str) -> JsonResponse:
    """The answer to one code now, signed together with the number that the phone made for this question."""
    caller = callers.checked_caller(request)
    if isinstance(caller, JsonResponse):
        return caller
    nonce = request.GET.get("nonce", "")
    if not callers.NONCE.fullmatch(nonce):
        return callers.refused("NO_NONCE", NO_NONCE)
    with _language(request):
        return enveloped({**_stated("answer"), "nonce": nonce, "asked": code[:300], **_answered(code)})


def enveloped(stated: dict[str, Any]) -> JsonResponse:
    """The signed answer that states this."""
    return JsonResponse(signing.signed(stated))


def days_from(now: datetime) -> list[Question]:
    """Today's and tomorrow's question, of whole days of the site."""
    today = moments.local_day(now, site_zone())
    return [queries.question(today + timedelta(days=ahead)) for ahead in (0, 1)]


def expiry(now: datetime, hours: int) -> datetime:
    """When data made now is too old to answer from: after the hours of the site policy, at most two days of answers."""
    last = days_from(now)[-1].as_of
    return min(now + timedelta(hours=hours), moments.end_of_day(last, site_zone()))


def _stated(what: str) -> dict[str, Any]:
    """What stands in every signed text: whose it is, from when, for how long, and for which days of the site."""
    now = queries.question().asked_at
    rules, zone = rules_today(), site_zone()
    return {
        "v": VERSION,
        "what": what,
        "installation": signing.installation(),
        "issued_ms": _ms(now),
        "expires_ms": _ms(expiry(now, rules.policy.phone_hours)),
        "zone": settings.TIME_ZONE,
        "language": get_language(),
        "rule_pack": rules.pack.label if rules.pack else "",
        "days": [
            {
                "on": asked.as_of.isoformat(),
                "from_ms": _ms(moments.start_of_day(asked.as_of, zone)),
                "until_ms": _ms(moments.start_of_day(asked.as_of + timedelta(days=1), zone)),
            }
            for asked in days_from(now)
        ],
    }


def _bundled(caller: Caller, scope: scopes.Scope, numbers: list[str]) -> dict[str, Any]:
    stated = _stated("bundle")
    own = caller.device.kind == "own"
    return {
        **stated,
        "scope": {"kind": scope.kind, "name": scope.name},
        "scopes": scopes.offered(caller),
        "device": caller.device.name,
        "device_kind": caller.device.kind,
        "enrolled_ms": _ms(caller.device.enrolled_at or caller.device.added_at),
        "person": caller.person.username if own and caller.person else None,
        "epoch": restored.epoch(),
        "seal": anchoring.handed_out(),
        "items": _with_spares(rows_of(numbers, days_from(queries.question().asked_at))),
        "people": _people(caller, scopes.home_of(caller)),
        **_places(scope, numbers),
        "checklists": {},
        "damage": {kind: _damage(kind) for kind in KINDS},
        "drawings": [],
    }


def _with_spares(rows: list[Row]) -> list[Row]:
    """The rows, each with what may stand in for its piece: names and places, and no answer."""
    spares = spares_of([row["no"] for row in rows], queries.question())
    return [{**row, "spares": [one.as_json() for one in spares.get(row["no"], ())]} for row in rows]


def _people(caller: Caller, home: str | None) -> list[dict[str, str]]:
    """Names of those who may confirm a record on a shared tablet; on an own phone, of its person. Never a PIN."""
    people = User.objects.select_related("holder", "depot", "crew__depot").order_by("username")
    if caller.device.kind == "own":
        people = people.filter(pk=caller.person.pk if caller.person else 0)
    else:
        people = people.filter(is_active=True, role__in=WORKING)
    found = []
    for person in people:
        depot = person.depot or (person.crew.depot if person.crew else None)
        if home is None or depot is None or depot.name == home or caller.device.kind == "own":
            found.append(
                {name: value for name, value in callers.told_person(person).items() if name != "badge"}
            )
    return found


def _places(scope: scopes.Scope, numbers: list[str]) -> dict[str, list[dict[str, Any]]]:
    """Holders that gear can be given to, and the trucks among them with what each should carry."""
    holders = Holder.objects.select_related("crew", "depot").filter(active=True).order_by("kind", "name")
    if scope.depot:
        holders = holders.filter(depot__name=scope.depot) | holders.filter(crew__depot__name=scope.depot)
    found = list(holders.distinct())
    trucks = [one for one in found if one.kind == "truck"]
    return {
        "holders": [one.as_fact() for one in found],
        "trucks": loads.trucks_for_phone(trucks, loads.marked(numbers)) if trucks else [],
    }


def _damage(kind: str) -> list[dict[str, str]]:
    """The words for what the eye finds on this kind, each with the least that it asks for."""
    return [
        {"word": word, "words": str(wording.DAMAGE.get(word, word)), "outcome": visual.WORDS[word][0]}
        for word in visual.words_for(kind)
    ]


def _answered(text: str) -> dict[str, Any]:
    """The row of what was scanned or typed, an item number or a label; the bare answer where nothing is found."""
    typed = " ".join(text.split())
    item = Item.objects.filter(item_no__in=(typed, typed.upper())).first() if typed.isprintable() else None
    asked = item.item_no if item else ""
    read = codes.normalise(typed, base_url=settings.BASE_URL)
    if item is None and read.code:
        label = Label.objects.select_related("item").filter(code=read.code).first()
        item, asked = (label.item, label.code) if label else (None, "")
    rows = rows_of([item.item_no], days_from(queries.question().asked_at)) if item else []
    if rows:
        return {"item": rows[0], "asked_code": asked}
    found = queries.scanned(typed, queries.question(), base_url=settings.BASE_URL)
    return {"answer": told(found.answer)}


def _name(request: HttpRequest) -> str:
    return request.GET.get("name", "").replace("\x00", "")


def _language(request: HttpRequest) -> translation.override:
    asked = request.GET.get("lang", "")
    known = dict(settings.LANGUAGES)
    return translation.override(asked if asked in known else get_language())


def _ms(moment: datetime) -> int:
    return int(moment.timestamp() * 1000)
