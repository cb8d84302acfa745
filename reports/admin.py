"""What reports keep, to look at in the admin site."""

from gear.admin import register_evidence

register_evidence("reports")
