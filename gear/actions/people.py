"""People: added, changed, deactivated, never deleted. Every change is an entry of the site's own record.

A username is part of the hash of every entry its person made, so nothing here changes one.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, fields

from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.db import IntegrityError
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals, reason_in
from gear.actions.passwords import check_again
from gear.actions.refusals import FieldRefused
from gear.ledger import Draft, record
from gear.models import ApiToken, Crew, Depot, Entry, Holder, User
from gear.rules.codes import new_code

LONGEST_USERNAME = 150
SHORTEST_PIN, LONGEST_PIN = 4, 8


class PeopleRefused(FieldRefused):
    """A change to people that may not be made."""

    SENTENCES = {
        "USERNAME_TAKEN": (
            "username",
            _("This username is taken. It belongs to that person for ever; choose another."),
        ),
        "USERNAME_WRONG": (
            "username",
            _("A username has letters, digits and @ . + - _ only, at most 150 of them."),
        ),
        "OWN_RIGHTS": (
            "role",
            _("Nobody changes their own role, crew or depot. Ask another supervisor or administrator."),
        ),
        "OWN_ACCOUNT": (
            "reason",
            _("Nobody deactivates themselves. Ask another supervisor or administrator."),
        ),
        "LAST_ADMINISTRATOR": (
            "role",
            _("This is the last administrator. Make another person administrator first."),
        ),
        "NAME_HAS_GEAR": (
            "has_gear",
            _(
                "Another person who holds gear has this name. Tell them apart, for example by a middle initial."
            ),
        ),
        "PIN_DIGITS": ("pin", _("A PIN is 4 to 8 digits.")),
        "PIN_TOO_EASY": (
            "pin",
            _("This PIN is guessed at once. Do not repeat digits or count up or down."),
        ),
        "ALREADY_SO": ("", _("This was done already. Nothing was changed.")),
    }


@dataclass(frozen=True, kw_only=True)
class Details:
    """What is on file of a person. `has_gear` says whether gear may be issued to them."""

    first_name: str = ""
    last_name: str = ""
    email: str = ""
    role: str = "worker"
    crew: Crew | None = None
    depot: Depot | None = None
    has_gear: bool = False

    @property
    def home(self) -> Depot | None:
        """The depot that a person belongs to: their own, or that of their crew."""
        return self.depot or (self.crew.depot if self.crew else None)


def details_of(person: User) -> Details:
    """What is on file of a person now."""
    holder = Holder.objects.filter(person=person).first()
    on_file = {
        field.name: getattr(person, field.name) for field in fields(Details) if field.name != "has_gear"
    }
    return Details(**on_file, has_gear=bool(holder and holder.active))


def add(username: str, *, details: Details, password: str = "", act: Act) -> User:
    """Add a person. Without a password they cannot sign in until one is set. Raises ValidationError for a bad one."""
    with keeping_refusals("manage_people", username, act):
        permissions.check_can_manage(act.by, role=details.role, depot=details.home)
        person = User(username=_checked_username(username), **_columns(details))
        if password:
            validate_password(password, person)
            person.set_password(password)
        else:
            person.set_unusable_password()
        try:
            person.save()
        except IntegrityError:  # somebody else added it in the same moment
            raise PeopleRefused("USERNAME_TAKEN") from None
        _keep_holder(person, details)
        note_change(act, "added", person=person, note=f"role: {details.role}")
        return person


def change(person: User, *, details: Details, act: Act) -> User:
    """Change what is on file of a person. Their sessions go on, with the new rights from the next request."""
    with keeping_refusals("manage_people", person.username, act):
        person = _locked(person)
        before = details_of(person)
        permissions.check_can_manage(act.by, role=person.role, depot=before.home)
        if person == act.by and _rights(before) != _rights(details):
            raise PeopleRefused("OWN_RIGHTS")
        permissions.check_can_manage(act.by, role=details.role, depot=details.home)
        if person.role != details.role:
            _check_not_last_administrator(person)
        if changes := _changes(before, details):
            for name, value in _columns(details).items():
                setattr(person, name, value)
            person.is_superuser = person.is_superuser and person.is_staff
            person.save()
            _keep_holder(person, details)
            note_change(act, "changed", person=person, note="; ".join(changes))
        return person


def deactivate(person: User, *, reason: str, act: Act) -> User:
    """Close a person's account: sessions and tokens end now, what they entered and the gear they have stand."""
    with keeping_refusals("manage_people", person.username, act):
        person = _managed(person, act)
        if person == act.by:
            raise PeopleRefused("OWN_ACCOUNT")
        if not person.is_active:
            raise PeopleRefused("ALREADY_SO")
        _check_not_last_administrator(person)
        _set_active(person, active=False)
        note_change(act, "deactivated", person=person, note=reason_in(reason))
        return person


def reactivate(person: User, *, reason: str, act: Act) -> User:
    """Open a closed account again."""
    with keeping_refusals("manage_people", person.username, act):
        person = _managed(person, act)
        if person.is_active:
            raise PeopleRefused("ALREADY_SO")
        _set_active(person, active=True)
        note_change(act, "reactivated", person=person, note=reason_in(reason))
        return person


def set_password(person: User, *, password: str, act: Act) -> User:
    """Give a person a new password; every session of theirs ends. Raises ValidationError for a bad password."""
    with keeping_refusals("manage_people", person.username, act):
        return _give_password(_managed(person, act), password, act)


def change_own_password(person: User, *, current: str, password: str, act: Act) -> User:
    """Choose a new password of one's own. Raises PasswordRefused where the current one is wrong."""
    with keeping_refusals("change_own_password", person.username, act):
        check_again(person, current)
        return _give_password(_locked(person), password, act)


def set_pin(person: User, *, pin: str, act: Act) -> User:
    """Give a person a PIN for shared tablets, kept as a hash that nobody can read back; empty takes it away."""
    with keeping_refusals("manage_people", person.username, act):
        person = _managed(person, act)
        if pin:
            _check_pin(pin)
        person.pin = make_password(pin) if pin else ""
        person.save(update_fields=["pin"])
        note_change(act, "pin_set" if pin else "pin_removed", person=person)
        return person


def set_own_pin(person: User, *, current: str, pin: str, act: Act) -> User:
    """Choose one's own PIN, with one's password. Raises PasswordRefused or PeopleRefused."""
    with keeping_refusals("set_own_pin", person.username, act):
        check_again(person, current)
        person = _locked(person)
        _check_pin(pin)
        person.pin = make_password(pin)
        person.save(update_fields=["pin"])
        note_change(act, "pin_set", person=person)
        return person


def give_badge(person: User, *, act: Act) -> User:
    """A new badge for a person, whose code names them and proves nothing; the code of an older one ends."""
    with keeping_refusals("manage_people", person.username, act):
        person = _managed(person, act)
        person.badge = f"B-{new_code(random.SystemRandom())}"
        person.save(update_fields=["badge"])
        note_change(act, "badge_given", person=person)
        return person


def note_change(act: Act, change: str, *, person: User | None = None, note: str = "") -> Entry:
    """One entry about people or places, of the site itself. `note` holds names and old and new values, no secrets."""
    facts = {"person": person.username if person else "", "change": change, "note": note[:500]}
    return record(Draft(None, "person_changed", facts), by=act.by, via=act.via, device=act.device)


def _checked_username(username: str) -> str:
    username = User.normalize_username(username)
    try:
        User.username_validator(username)
    except ValidationError:
        raise PeopleRefused("USERNAME_WRONG") from None
    if len(username) > LONGEST_USERNAME:
        raise PeopleRefused("USERNAME_WRONG")
    if User.objects.filter(username__iexact=username).exists():
        raise PeopleRefused("USERNAME_TAKEN")
    return username


def _locked(person: User) -> User:
    return (
        User.objects.select_for_update(of=("self",)).select_related("crew__depot", "depot").get(pk=person.pk)
    )


def _managed(person: User, act: Act) -> User:
    """The person as on file now, locked, once it is certain that they may be managed by whoever acts."""
    person = _locked(person)
    permissions.check_can_manage(act.by, role=person.role, depot=details_of(person).home)
    return person


def _columns(details: Details) -> dict:
    columns = {
        field.name: getattr(details, field.name) for field in fields(Details) if field.name != "has_gear"
    }
    return {**columns, "is_staff": details.role == "administrator"}  # the admin site lets in nobody else


def _rights(details: Details) -> tuple:
    return details.role, details.crew, details.depot


def _changes(before: Details, after: Details) -> list[str]:
    """What differs; old and new values of what gives rights, only the field's name for what is private."""
    found = []
    for field in fields(Details):
        old, new = getattr(before, field.name), getattr(after, field.name)
        if old == new:
            continue
        told = field.name in ("role", "crew", "depot", "has_gear")
        found.append(f"{field.name}: {old or '-'} -> {new or '-'}" if told else field.name)
    return found


def _check_not_last_administrator(person: User) -> None:
    if person.role != "administrator":
        return
    others = (
        User.objects.select_for_update().filter(role="administrator", is_active=True).exclude(pk=person.pk)
    )
    if not others.exists():
        raise PeopleRefused("LAST_ADMINISTRATOR")


def _set_active(person: User, *, active: bool) -> None:
    person.is_active = active
    person.save(update_fields=["is_active"])
    Holder.objects.filter(person=person).update(active=active)
    if not active:
        end_sessions(person)
        ApiToken.objects.filter(person=person, revoked_at=None).update(revoked_at=timezone.now())


def _give_password(person: User, password: str, act: Act) -> User:
    validate_password(password, person)
    person.set_password(password)
    person.save(update_fields=["password"])
    end_sessions(person)
    note_change(act, "password_set", person=person)
    return person


def end_sessions(person: User) -> None:
    """A session that outlived its owner's leave would be valid again the day they come back."""
    for session in Session.objects.filter(expire_date__gte=timezone.now()):
        if session.get_decoded().get("_auth_user_id") == str(person.pk):
            session.delete()


def _check_pin(pin: str) -> None:
    if not (pin.isascii() and pin.isdigit() and SHORTEST_PIN <= len(pin) <= LONGEST_PIN):
        raise PeopleRefused("PIN_DIGITS")
    steps = {int(after) - int(before) for before, after in zip(pin, pin[1:], strict=False)}
    repeats = pin in (pin + pin)[1:-1]  # 0000, 1212, 123123
    if repeats or steps in ({1}, {-1}):
        raise PeopleRefused("PIN_TOO_EASY")


def _keep_holder(person: User, details: Details) -> None:
    """Make, link or update the holder that gear is issued to. Its name stands in the record and is kept."""
    holder = Holder.objects.filter(person=person).first()
    if holder is None:
        if not details.has_gear:
            return
        holder = Holder.objects.filter(kind="person", name=person.name).first()
        if holder is not None and holder.person_id is not None:
            raise PeopleRefused("NAME_HAS_GEAR")
        holder = holder or Holder(kind="person", name=person.name)
    holder.person, holder.crew, holder.depot = person, details.crew, details.home
    holder.active = details.has_gear and person.is_active
    holder.save()
