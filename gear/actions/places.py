"""Depots, crews, and the trucks, shelves, benches, labs and contractors that hold gear.

Their names stand in the entries of the gear that was with them, so a name changes only while nothing bears it yet.
"""

from __future__ import annotations

from typing import Any

from django.db import IntegrityError
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals
from gear.actions.people import note_change
from gear.actions.refusals import FieldRefused
from gear.models import Crew, Depot, Holder, ItemState, User

PLACE_KINDS = ("truck", "crew", "shelf", "bench", "lab", "contractor")


class PlaceRefused(FieldRefused):
    """A change to a depot, crew or holder that may not be made."""

    SENTENCES = {
        "NAME_TAKEN": ("name", _("This name is taken. Names stand in the record; choose another.")),
        "NAME_IN_USE": (
            "name",
            _("This name stands in the record already. Add a new one instead of renaming it."),
        ),
        "HAS_GEAR": ("active", _("Gear is still recorded there. Move it first.")),
        "PERSON_KIND": ("kind", _("A person becomes a holder on their own page: tick that they hold gear.")),
    }


def add_depot(name: str, *, act: Act) -> Depot:
    """Add a depot. A supervisor bound to one depot adds no other."""
    with keeping_refusals("manage_people", name, act):
        permissions.check_can_place(act.by, None)
        depot = _added(Depot(name=name), among=Depot.objects.all())
        note_change(act, "depot_added", note=name)
        return depot


def rename_depot(depot: Depot, *, name: str, act: Act) -> Depot:
    """Correct the name of a depot that nobody and nothing belongs to yet."""
    with keeping_refusals("manage_people", depot.name, act):
        permissions.check_can_place(act.by, depot)
        return _renamed(depot, name, act, "depot_renamed", borne_by=(Crew, User, Holder))


def add_crew(name: str, *, depot: Depot | None, phone: str = "", act: Act) -> Crew:
    """Add a crew of a depot, with its foreman's phone."""
    with keeping_refusals("manage_people", name, act):
        permissions.check_can_place(act.by, depot)
        crew = _added(Crew(name=name, depot=depot, phone=phone), among=Crew.objects.all())
        note_change(act, "crew_added", note=f"{name}; depot: {depot or '-'}")
        return crew


def change_crew(crew: Crew, *, name: str, depot: Depot | None, phone: str, act: Act) -> Crew:
    """Change a crew's depot or phone, and its name while nobody and nothing belongs to it."""
    with keeping_refusals("manage_people", crew.name, act):
        permissions.check_can_place(act.by, crew.depot)
        permissions.check_can_place(act.by, depot)
        _renamed(crew, name, act, "crew_renamed", borne_by=(User, Holder))
        changes = [f"depot: {crew.depot or '-'} -> {depot or '-'}"] if crew.depot != depot else []
        changes += ["phone"] if crew.phone != phone else []
        if changes:
            crew.depot, crew.phone = depot, phone
            crew.save()
            note_change(act, "crew_changed", note="; ".join([crew.name, *changes]))
        return crew


def add_holder(kind: str, *, name: str, crew: Crew | None, depot: Depot | None, act: Act) -> Holder:
    """Add a truck, crew cage, shelf, bench, lab or contractor. A crew's depot counts where none is given."""
    depot = depot or (crew.depot if crew else None)
    with keeping_refusals("manage_people", name, act):
        permissions.check_can_place(act.by, depot)
        if kind not in PLACE_KINDS:
            raise PlaceRefused("PERSON_KIND")
        holder = Holder(kind=kind, name=name, crew=crew, depot=depot)
        _added(holder, among=Holder.objects.filter(kind=kind))
        note_change(act, "holder_added", note=f"{kind} {name}; crew: {crew or '-'}; depot: {depot or '-'}")
        return holder


def change_holder(
    holder: Holder, *, crew: Crew | None, depot: Depot | None, active: bool, act: Act
) -> Holder:
    """Change where a holder belongs, or take it out of use once no gear is recorded there."""
    depot = depot or (crew.depot if crew else None)
    with keeping_refusals("manage_people", holder.name, act):
        permissions.check_can_place(act.by, holder.depot)
        permissions.check_can_place(act.by, depot)
        if holder.kind not in PLACE_KINDS:
            raise PlaceRefused("PERSON_KIND")
        if holder.active and not active and ItemState.objects.filter(holder=holder).exists():
            raise PlaceRefused("HAS_GEAR")
        wanted = {"crew": crew, "depot": depot, "active": active}
        changes = _set(holder, wanted)
        if changes:
            note_change(act, "holder_changed", note="; ".join([f"{holder.kind} {holder.name}", *changes]))
        return holder


def is_borne(place: Depot | Crew, *, by: tuple[type, ...]) -> bool:
    """Whether anybody or anything belongs to a depot or crew, so that its name may stand in entries."""
    column = "depot" if isinstance(place, Depot) else "crew"
    return any(model.objects.filter(**{column: place}).exists() for model in by)  # type: ignore[attr-defined]


def _renamed(place: Any, name: str, act: Act, change: str, *, borne_by: tuple[type, ...]) -> Any:
    if name == place.name:
        return place
    if is_borne(place, by=borne_by):
        raise PlaceRefused("NAME_IN_USE")
    _check_free(type(place).objects.exclude(pk=place.pk), name)
    old, place.name = place.name, name
    place.save(update_fields=["name"])
    note_change(act, change, note=f"{old} -> {name}")
    return place


def _added(place: Any, *, among: Any) -> Any:
    _check_free(among, place.name)
    try:
        place.save()
    except IntegrityError:  # somebody else added it in the same moment
        raise PlaceRefused("NAME_TAKEN") from None
    return place


def _check_free(rows: Any, name: str) -> None:
    if rows.filter(name__iexact=name).exists():
        raise PlaceRefused("NAME_TAKEN")


def _set(row: Any, wanted: dict[str, Any]) -> list[str]:
    changes = []
    for name, value in wanted.items():
        old = getattr(row, name)
        if old != value:
            setattr(row, name, value)
            changes.append(f"{name}: {old or '-'} -> {value or '-'}")
    if changes:
        row.save()
    return changes
