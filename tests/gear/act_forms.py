"""The forms of acts, sent as a browser sends them."""

from uuid import uuid4

from django.contrib.messages import get_messages

from gear.models import ItemState


def address(item, verb):
    return f"/items/{item.item_no}/do/{verb}/"


def send(client, item, verb, **fields):
    """The form of a verb, sent as a browser sends it."""
    return client.post(address(item, verb), {"id": str(uuid4()), **fields})


def kinds(item):
    return list(item.entry_set.order_by("position").values_list("kind", flat=True))


def condition(item):
    return ItemState.objects.get(item=item).condition


def told(response):
    return [str(message) for message in get_messages(response.wsgi_request)]
