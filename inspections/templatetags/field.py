"""What the page of the phone client states of this installation."""

from django import template

from inspections.field import sealing

register = template.Library()


@register.simple_tag
def sealing_key() -> str:
    """The public key to which a phone seals a PIN, in base64."""
    return sealing.public_key()
