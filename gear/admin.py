"""The admin site shows what is stored and changes nothing: every change goes through the pages, which enter it."""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest

from gear.models import AppendOnly, Crew, Depot, GearSet, Holder, Item, ItemState, ItemType, SiteHead, User

# Hashes that may be attacked, files that are no text, and Django's own rights: here the role alone decides.
HIDDEN = ("password", "pin", "content", "is_staff", "is_superuser")
WIDEST = 8


class ReadOnly(admin.ModelAdmin):
    """Rows to look at: nothing is added, changed or deleted here, whoever asks."""

    actions = None
    list_per_page = 50
    show_full_result_count = False

    def get_list_display(self, request: HttpRequest) -> list[str]:
        return ["__str__", *self.shown()[:WIDEST]]

    def get_fields(self, request: HttpRequest, obj: Model | None = None) -> list[str]:
        return self.shown()

    def shown(self) -> list[str]:
        """The columns that may be seen, in the order of the table."""
        return [field.name for field in self.model._meta.fields if field.name not in HIDDEN]

    def get_list_select_related(self, request: HttpRequest) -> list[str]:
        return [
            field.name
            for field in self.model._meta.fields
            if field.is_relation and field.name in self.shown()
        ]

    def has_module_permission(self, request: HttpRequest) -> bool:
        return _is_administrator(request)

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return _is_administrator(request)

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class Evidence(ReadOnly):
    """Append-only rows, the newest first."""

    def get_ordering(self, request: HttpRequest) -> list[str]:
        names = {field.name for field in self.model._meta.fields}
        return [f"-{moment}" for moment in ("recorded_at", "sealed_at", "at") if moment in names] + ["-pk"]


class People(ReadOnly):
    """Accounts, found by name."""

    search_fields = ("username", "first_name", "last_name")


def _is_administrator(request: HttpRequest) -> bool:
    user = request.user
    return user.is_active and getattr(user, "role", "") == "administrator"


def register_evidence(app: str) -> None:
    """Show every append-only table of an app, those of later versions too."""
    for model in apps.get_app_config(app).get_models():
        if issubclass(model, AppendOnly):
            admin.site.register(model, Evidence)


register_evidence("gear")
admin.site.register([Crew, Depot, GearSet, Holder, Item, ItemState, ItemType, SiteHead], ReadOnly)
admin.site.register(User, People)
