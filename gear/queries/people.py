"""People and places of one depot, or of the whole organisation where the depot is None."""

from __future__ import annotations

from datetime import date

from django.db.models import Count, Q, QuerySet

from gear.models import Crew, Depot, Entry, Holder, Qualification, User


def people_in(depot: Depot | None, *, words: str = "") -> QuerySet[User]:
    """The people of a depot or of its crews, by name. `words` narrows them to names that hold every word."""
    found = User.objects.select_related("crew__depot", "depot", "holder")
    if depot is not None:
        found = found.filter(Q(depot=depot) | Q(depot__isnull=True, crew__depot=depot))
    for word in words.split()[:6]:
        found = found.filter(
            Q(username__icontains=word)
            | Q(first_name__icontains=word)
            | Q(last_name__icontains=word)
            | Q(crew__name__icontains=word)
            | Q(depot__name__icontains=word)
        )
    return found.order_by("last_name", "first_name", "username", "pk")


def crews_in(depot: Depot | None) -> QuerySet[Crew]:
    """The crews of a depot, with how many people are in each."""
    found = Crew.objects.select_related("depot").annotate(
        people=Count("user", filter=Q(user__is_active=True), distinct=True)
    )
    if depot is not None:
        found = found.filter(depot=depot)
    return found.order_by("depot__name", "name", "pk")


def depots_in(depot: Depot | None) -> QuerySet[Depot]:
    """The depot alone, or all of them, with how many crews each has."""
    found = Depot.objects.annotate(crews=Count("crew", distinct=True))
    if depot is not None:
        found = found.filter(pk=depot.pk)
    return found.order_by("name", "pk")


def holders_in(depot: Depot | None) -> QuerySet[Holder]:
    """Trucks, crew cages, shelves, benches, labs and contractors with the number of items recorded there."""
    found = Holder.objects.exclude(kind="person").select_related("crew", "depot")
    if depot is not None:
        found = found.filter(depot=depot)
    return found.annotate(items=Count("itemstate")).order_by("kind", "name", "pk")


def changes_of(person: User) -> QuerySet[Entry]:
    """What was changed about a person, newest first."""
    return (
        Entry.objects.filter(kind="person_changed", facts__person=person.username)
        .select_related("by")
        .order_by("-position")
    )


def qualification_on(person: User, day: date) -> str:
    """Whether a person may accept by eye on a day: "current", "expired" (or not yet begun), or "not_on_file"."""
    newest = Qualification.objects.filter(person=person).order_by("-entry__position").first()
    if newest is None:
        return "not_on_file"
    return "current" if newest.from_on <= day <= newest.until_on else "expired"


def qualifications_on(depot: Depot | None, day: date) -> list[tuple[Qualification, str]]:
    """The newest qualification of everybody of a depot, with how it stands on a day, run out first."""
    rows = (
        Qualification.objects.filter(person__in=people_in(depot).values("pk"), person__is_active=True)
        .select_related("person", "entry__by")
        .order_by("entry__position")
    )
    newest = {row.person_id: row for row in rows}
    stands = [
        (row, "current" if row.from_on <= day <= row.until_on else "expired") for row in newest.values()
    ]
    return sorted(stands, key=lambda pair: (pair[1] != "expired", pair[0].until_on, pair[0].person.username))
