"""What the tests of people share: a browser that is signed in, the form as a page sends it, the entries kept."""

from django.test import Client

from gear.actions import people
from gear.models import Entry

PASSWORD = "brackish water rises twice"


def signed_in(person):
    client = Client()
    client.force_login(person)
    return client


def changes(person):
    return [
        (entry.facts["change"], entry.facts["note"], entry.by.username if entry.by else None)
        for entry in Entry.objects.filter(kind="person_changed", facts__person=person.username).order_by(
            "position"
        )
    ]


def filled(person, **values):
    """The form of a person as the page would send it back, with some values changed."""
    details = people.details_of(person)
    sent = {
        "first_name": details.first_name,
        "last_name": details.last_name,
        "email": details.email,
        "role": details.role,
        "crew": details.crew.pk if details.crew else "",
        "depot": details.depot.pk if details.depot else "",
    }
    if details.has_gear:
        sent["has_gear"] = "on"
    return {**sent, **values}


NEW = {"username": "tomas", "first_name": "Tomas", "last_name": "Vale", "role": "worker"}
