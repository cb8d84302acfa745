"""What was found out about gear, to look at in the admin site."""

from django.contrib import admin

from gear.admin import ReadOnly, register_evidence
from inspections.models import Instrument

register_evidence("inspections")
admin.site.register(Instrument, ReadOnly)
