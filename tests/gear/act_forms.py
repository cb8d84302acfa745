"""The forms of acts, sent as a browser sends them."""

import re
from html import unescape
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


def fields_in(page):
    """The fields of the form of a page as the browser would send them untouched; boxes that are not ticked left out."""
    form = re.search(r'<form method="post"[^>]* class="fields.*?</form>', page, re.S)[0]
    fields = dict(re.findall(r'<input type="(?:hidden|text|date)" name="(\w+)"(?: value="([^"]*)")?', form))
    fields |= dict(re.findall(r'<input type="radio" name="(\w+)" value="([^"]*)"[^>]* checked', form))
    for name, options in re.findall(r'<select name="(\w+)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)"[^>]*selected', options)
        fields[name] = chosen[1] if chosen else ""
    return {name: unescape(value) for name, value in fields.items() if name != "csrfmiddlewaretoken"}
