"""A phone of one of the cast, and photos for it to send."""

from io import BytesIO
from uuid import uuid4

from django.test import Client
from django.utils import timezone
from PIL import Image

from inspections.actions.devices import digest_of
from inspections.field.callers import COOKIE
from inspections.models import Device


def phone_of(person, name="phone 1"):
    """A browser on the enrolled phone of somebody who is signed in."""
    client = Client(raise_request_exception=False)
    now = timezone.now()
    key = {"digest": digest_of(name), "enrolled_at": now}
    Device.objects.create(name=name, kind="own", person=person, added_at=now, added_by=person, **key)
    client.cookies[COOKIE] = name
    client.force_login(person)
    return client


def picture(form="JPEG", size=(64, 48), *, mode="RGB", **saved):
    """The bytes of a small picture, one half white, one half black."""
    image = Image.new(mode, size, "white")
    image.paste("black", (0, 0, size[0] // 2, size[1]))
    made = BytesIO()
    image.save(made, form, **saved)
    return made.getvalue()


def uploaded(client, record, data, *, name="p.jpg", photo=None, **fields):
    """The answer to one photo of a record, sent as the client sends it."""
    file = BytesIO(data)
    file.name = name
    sent = {"id": str(photo or uuid4()), "record": str(record), "photo": file, **fields}
    return client.post("/truck/photo/", sent)
