"""Which pieces a device may hold: its person's crew, a truck, a depot, or everything where that is little."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _

from gear.models import Crew, Depot, Holder, ItemState
from inspections.field.callers import Caller

MOST = 5000  # pieces that one device holds: more than any depot of the site has, and still quick to check at each start
OUT_OF_USE = ("rejected", "destroyed", "lost")
SCOPES = ("crew", "truck", "depot", "all")


class NoScope(ValueError):
    """This cannot be held on this device. The message says what to choose instead."""


@dataclass(frozen=True)
class Scope:
    """What a device holds: `kind` is one of SCOPES, `name` of the crew, truck or depot; nothing for all."""

    kind: str
    name: str
    depot: str | None


def scope_of(caller: Caller, kind: str, name: str) -> Scope:
    """The scope asked for, or the one that fits when nothing is. Raises NoScope.

    A shared tablet holds its depot, or a crew or truck of it. A verdict is never hidden by scope from a person.
    """
    home = home_of(caller)
    if not kind:
        return _usual(caller, home)
    if kind not in SCOPES:
        raise NoScope(_("There is no such choice. Choose a crew, a truck or a depot."))
    bound = home if caller.device.kind == "shared" else None
    if kind == "all" and bound is None:
        return Scope("all", "", home)
    found, depot = _named(caller, kind, name) if kind != "all" else ("", None)
    if bound is not None and depot != bound:
        raise NoScope(_("This tablet belongs to %s. Choose what is there.") % bound)
    return Scope(kind, found, depot)


def offered(caller: Caller) -> list[dict[str, str]]:
    """What this device may choose to hold, {kind, name} each: the person's crew, the depot, and the trucks there.

    Everything is offered alone where no depot bounds the device. `scope_of` takes each of them.
    """
    home = home_of(caller)
    crew = caller.person.crew if caller.person and caller.device.kind == "own" else None
    trucks = Holder.objects.filter(kind="truck", active=True).order_by("name")
    if home is not None:
        trucks = trucks.filter(depot__name=home)
    return [
        *([{"kind": "crew", "name": crew.name}] if crew else []),
        *([{"kind": "depot", "name": home}] if home else [{"kind": "all", "name": ""}]),
        *({"kind": "truck", "name": name} for name in trucks.values_list("name", flat=True)),
    ]


def home_of(caller: Caller) -> str | None:
    """The depot of the tablet, or of the person and their crew, by name."""
    if caller.device.kind == "shared":
        return caller.device.depot.name if caller.device.depot else None
    person = caller.person
    depot = person and (person.depot or (person.crew.depot if person.crew else None))
    return depot.name if depot else None


def numbers_in(scope: Scope) -> list[str]:
    """The numbers of the pieces in a scope, in order, with their mates and what is out of use at its depot.

    Raises NoScope where these are more than a device can hold.
    """
    states = ItemState.objects.all()
    if scope.kind != "all":
        out = Q(condition__in=OUT_OF_USE, holder__depot__name=scope.depot) if scope.depot else Q(pk__in=[])
        own = states.filter(_held_in(scope))
        sets = own.filter(gear_set__isnull=False).values("gear_set_id")
        states = states.filter(_held_in(scope) | out | Q(gear_set_id__in=sets))
    found = sorted(states.values_list("item__item_no", flat=True)[: MOST + 1])
    if len(found) > MOST:
        raise NoScope(
            _("That is more than %(most)s pieces, too many for one device. Choose a crew or a truck.")
            % {"most": MOST}
        )
    return found


def _held_in(scope: Scope) -> Q:
    if scope.kind == "crew":
        return Q(holder__crew__name=scope.name) | Q(holder__kind="crew", holder__name=scope.name)
    if scope.kind == "truck":
        return Q(holder__kind="truck", holder__name=scope.name)
    return Q(holder__depot__name=scope.name) | Q(holder__crew__depot__name=scope.name)


def _usual(caller: Caller, home: str | None) -> Scope:
    crew = caller.person.crew if caller.person and caller.device.kind == "own" else None
    if crew is not None:
        return Scope("crew", crew.name, home)
    return Scope("depot", home, home) if home else Scope("all", "", None)


def _named(caller: Caller, kind: str, name: str) -> tuple[str, str | None]:
    """(name, depot) of the crew, truck or depot asked for; without a name, the person's own."""
    if kind == "crew":
        name = name or (caller.person.crew.name if caller.person and caller.person.crew else "")
        crew = Crew.objects.select_related("depot").filter(name=name).first()
        found = (crew.name, crew.depot.name if crew.depot else None) if crew else None
    elif kind == "truck":
        truck = Holder.objects.select_related("depot").filter(kind="truck", name=name).first()
        found = (truck.name, truck.depot.name if truck.depot else None) if truck else None
    else:
        depot = Depot.objects.filter(name=name or home_of(caller) or "").first()
        found = (depot.name, depot.name) if depot else None
    if found is None:
        raise NoScope(_("There is no such crew, truck or depot. Choose one from the list."))
    return found
