"""People, and whoever or whatever can hold gear."""

from typing import Any

from django.contrib.auth.models import AbstractUser, UserManager
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.rules.entries import HOLDER_KINDS, USABLE_HOLDERS

ROLES = ("worker", "foreman", "clerk", "supervisor", "auditor", "administrator")
ROLE_NAMES = {
    "worker": _("Line worker"),
    "foreman": _("Foreman"),
    "clerk": _("Tool-room clerk"),
    "supervisor": _("Supervisor"),
    "auditor": _("Auditor"),
    "administrator": _("Administrator"),
}
HOLDER_NAMES = {
    "person": _("Person"),
    "truck": _("Truck"),
    "crew": _("Crew cage"),
    "shelf": _("Shelf"),
    "bench": _("Bench"),
    "lab": _("Lab"),
    "contractor": _("Contractor"),
}


class Depot(models.Model):
    """A yard with crews, shelves and perhaps a tool room."""

    name = models.CharField(_("name"), max_length=80, unique=True)

    def __str__(self):
        return self.name


class Crew(models.Model):
    """A crew of a depot; `phone` is the foreman's."""

    name = models.CharField(_("name"), max_length=80, unique=True)
    depot = models.ForeignKey(Depot, models.PROTECT, null=True, blank=True, verbose_name=_("depot"))
    phone = models.CharField(_("foreman's phone"), max_length=40, blank=True)

    def __str__(self):
        return self.name


class People(UserManager):
    """Whoever is made with `manage.py createsuperuser` is an administrator here too."""

    def create_superuser(self, username: str, *arguments: Any, **values: Any) -> "User":
        return super().create_superuser(username, *arguments, **{"role": "administrator", **values})


class User(AbstractUser):
    """A person who signs in. People are deactivated, never deleted: their entries stand."""

    role = models.CharField(_("role"), max_length=20, choices=list(ROLE_NAMES.items()), default="worker")
    crew = models.ForeignKey(Crew, models.PROTECT, null=True, blank=True, verbose_name=_("crew"))
    depot = models.ForeignKey(Depot, models.PROTECT, null=True, blank=True, verbose_name=_("depot"))
    pin = models.CharField(max_length=128, blank=True, editable=False)
    badge = models.CharField(
        max_length=16, unique=True, null=True, editable=False
    )  # names, and proves nothing

    objects = People()
    # Columns that never leave the installation: what proves a person, where mail reaches them, rights past the role.
    SECRETS = frozenset({"password", "pin", "email", "last_login", "is_staff", "is_superuser"})

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(role__in=ROLES), name="user_role_known")]

    @property
    def name(self):
        return self.get_full_name() or self.username


class Holder(models.Model):
    """Whoever or whatever can have an item: exactly one at any time."""

    kind = models.CharField(_("kind"), max_length=12, choices=list(HOLDER_NAMES.items()))
    name = models.CharField(_("name"), max_length=80)
    crew = models.ForeignKey(Crew, models.PROTECT, null=True, blank=True, verbose_name=_("crew"))
    depot = models.ForeignKey(Depot, models.PROTECT, null=True, blank=True, verbose_name=_("depot"))
    person = models.OneToOneField(User, models.PROTECT, null=True, blank=True, related_name="holder")
    active = models.BooleanField(_("in use"), default=True)
    leaving_on = models.DateField(
        _("leaves on"), null=True, blank=True
    )  # a person who gives everything back by then

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "name"], name="holder_kind_name_unique"),
            models.CheckConstraint(condition=Q(kind__in=HOLDER_KINDS), name="holder_kind_known"),
            models.CheckConstraint(condition=~Q(name=""), name="holder_named"),
        ]

    def __str__(self):
        return self.name

    @property
    def usable(self):
        """Whether gear held here could be picked up and used."""
        return self.kind in USABLE_HOLDERS

    def as_fact(self):
        """What an entry says of the holder: names, as they are today."""
        return {
            "kind": self.kind,
            "name": self.name,
            "crew": self.crew.name if self.crew else None,
            "depot": self.depot.name if self.depot else None,
        }


class ApiToken(models.Model):
    """A key with which a program acts for a person. Only its SHA-256 is stored; it is revoked, never deleted."""

    person = models.ForeignKey(User, models.PROTECT)
    name = models.CharField(_("name"), max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    LEFT_OUT = "keys of programs: they belong to this installation alone"  # why it is in no export

    def __str__(self):
        return self.name
