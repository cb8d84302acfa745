"""What a job is and who goes: every unit stands beside its field, and a field that is left empty stays unknown."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, choice_field, day_field, number_field, text_field
from gear.models import Holder
from gear.queries import described
from gear.queries.kits import people_in_kit
from gear.rules import values
from inspections.queries.jobs import Member
from inspections.rules import job as rules
from inspections.rules.job import Job, Thing
from inspections.rules.job_truck import TruckFacts

NOT_KNOWN = ("", gettext_lazy("Not known"))
EXPOSURES = (
    (rules.MULTIPHASE, gettext_lazy("Multiphase: more than one phase is within reach")),
    (
        rules.TO_GROUND,
        gettext_lazy(
            "Phase-to-ground only: no multiphase exposure, or it was removed by insulating or isolating"
        ),
    ),
    NOT_KNOWN,
)
METHODS = (
    (rules.GLOVES, gettext_lazy("Rubber gloves")),
    (rules.STICK, gettext_lazy("Live-line tools (sticks)")),
    NOT_KNOWN,
)
GROUNDING = (
    (rules.SINGLE, gettext_lazy("One set to a site")),
    (rules.PARALLEL, gettext_lazy("Two equal sets in parallel to a site")),
    NOT_KNOWN,
)
MOST_KV, MOST_KA, MOST_CYCLES, MOST_SITES, MOST_X_OVER_R, LONGEST_DAYS = 800, 200, 600, 20, 1000, 400
WHOLE, PLAIN = {"inputmode": "numeric"}, {"inputmode": "decimal"}


def _number(label: Any, *, most: int, unit: str, help_text: Any, whole: bool = False) -> Any:
    read = partial(_within, most=most, unit=unit, whole=whole)
    return number_field(label, read, required=False, help_text=help_text)


def _within(field: str, given: str, *, most: int, unit: str, whole: bool) -> int | Decimal:
    """A number from just above 0 to `most`. Far beyond it the unit is asked about, never corrected."""
    found: int | Decimal = values.whole(field, given) if whole else values.decimal(field, given)
    if found > most:
        told = {"shown": given.strip()[:20], "most": most, "unit": unit}
        raise ValidationError(_("%(shown)s is more than %(most)d %(unit)s. Look at the unit.") % told)
    if found == 0 and unit != _("sites"):
        raise ValidationError(_("0 is no value. Leave it empty where it is not known."))
    return found


class JobForm(PlainForm):
    """A job with the people of the truck's crew and what is aboard. What is not known is left empty."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    kv = _number(
        gettext_lazy("System voltage, phase-to-phase, kV"),
        most=MOST_KV,
        unit="kV",
        help_text=gettext_lazy("The nominal voltage of the line: 12.47, 24.9, 34.5."),
    )
    exposure = choice_field(gettext_lazy("Exposure"), EXPOSURES, radio=True, required=False)
    method = choice_field(gettext_lazy("Method"), METHODS, radio=True, required=False)
    sites = _number(
        gettext_lazy("Work sites that are grounded"),
        most=MOST_SITES,
        unit=_("sites"),
        help_text=gettext_lazy("0 where nothing is grounded: then no grounding set is judged."),
        whole=True,
    )
    grounding = choice_field(gettext_lazy("Grounding sets"), GROUNDING, radio=True, required=False)
    fault_ka = _number(
        gettext_lazy("Fault current at the site, kA"),
        most=MOST_KA,
        unit="kA",
        help_text=gettext_lazy("Thousands of amperes: 13.2."),
    )
    x_over_r = _number(
        gettext_lazy("X/R at the site"),
        most=MOST_X_OVER_R,
        unit="",
        help_text=gettext_lazy("No unit. Above 1.8 only high X/R grades are judged."),
    )
    primary_cycles = _number(
        gettext_lazy("Clearing time of the primary protection, cycles"),
        most=MOST_CYCLES,
        unit=_("cycles"),
        help_text=gettext_lazy("Whole cycles of 60 Hz, rounded up."),
        whole=True,
    )
    backup_cycles = _number(
        gettext_lazy("Clearing time of the backup protection, cycles"),
        most=MOST_CYCLES,
        unit=_("cycles"),
        help_text=gettext_lazy("The longer of the two counts. Ask for it: it is not assumed."),
        whole=True,
    )
    back_by = day_field(
        gettext_lazy("Back by"),
        required=False,
        help_text=gettext_lazy("The last day on which this gear is used."),
    )

    def __init__(
        self,
        data: Any = None,
        *,
        today: date,
        members: Sequence[Member] = (),
        aboard: Sequence[Thing] = (),
        kept: dict[str, Any] | None = None,
        **more: Any,
    ) -> None:
        super().__init__(data, **more)
        self.today, self.members, self.aboard = today, members, aboard
        going = {one["pk"]: one["size"] for one in kept["crew"]} if kept else None
        for one in members:
            self._add_member(one, going)
        self.fields["more"] = forms.ModelChoiceField(
            people_in_kit().exclude(pk__in=[one.holder.pk for one in members]),
            label=_("Somebody else goes too"),
            required=False,
            empty_label=_("Nobody"),
        )
        self.fields["more_size"] = text_field(_("Their glove size"), most=10, required=False)
        self.fields["left_out"] = forms.MultipleChoiceField(
            label=_("Left out of this job"),
            required=False,
            widget=forms.CheckboxSelectMultiple,
            choices=[(one.name, _aboard_words(one)) for one in aboard],
            initial=kept["left_out"] if kept else [],
        )

    def _add_member(self, one: Member, going: dict[int, str] | None) -> None:
        goes = going is None or one.holder.pk in going
        size = (going or {}).get(one.holder.pk, one.size)
        self.fields[f"goes_{one.holder.pk}"] = forms.BooleanField(
            label=one.holder.name, required=False, initial=goes
        )
        sized = text_field(_("Glove size"), most=10, required=False, initial=size)
        self.fields[f"size_{one.holder.pk}"] = sized

    @property
    def people(self) -> list[dict[str, Any]]:
        """Each of the crew with the two fields about them."""
        return [
            {"goes": self[f"goes_{one.holder.pk}"], "size": self[f"size_{one.holder.pk}"]}
            for one in self.members
        ]

    def clean_back_by(self) -> date | None:
        stated = self.cleaned_data["back_by"]
        if stated is None:
            return None
        if stated < self.today:
            raise ValidationError(_("That day is past. Write the day on which the gear is last used."))
        if (stated - self.today).days > LONGEST_DAYS:
            raise ValidationError(_("That is more than %d days ahead. Look at the year.") % LONGEST_DAYS)
        return stated

    def job(self) -> Job:
        stated = self.cleaned_data
        kv = stated["kv"]
        plain = {name: stated[name] for name in JOB_FIELDS}
        return Job(system_v=None if kv is None else _volts(kv), **plain)

    def crew(self) -> list[Member]:
        """Whoever goes, with the size that stands beside them."""
        stated = self.cleaned_data
        going = [
            Member(one.holder, _size(stated[f"size_{one.holder.pk}"]))
            for one in self.members
            if stated[f"goes_{one.holder.pk}"]
        ]
        extra: Holder | None = stated["more"]
        return [*going, Member(extra, _size(stated["more_size"]))] if extra else going


JOB_FIELDS = (
    "exposure",
    "method",
    "sites",
    "grounding",
    "x_over_r",
    "fault_ka",
    "primary_cycles",
    "backup_cycles",
    "back_by",
)


def initial_of(job: Job | None) -> dict[str, Any]:
    """What stands in a new form: nothing but its id, or a job that was checked before."""
    first: dict[str, Any] = {"id": uuid4()}
    if job is None:
        return first
    kv = None if job.system_v is None else _plain(Decimal(job.system_v) / 1000)
    stated = {name: getattr(job, name) for name in JOB_FIELDS}
    return first | stated | {"kv": kv}


def _plain(number: Decimal) -> str:
    return f"{number:f}".rstrip("0").rstrip(".") if "." in f"{number:f}" else f"{number:f}"


def _volts(kv: Decimal) -> int:
    return int(kv * 1000)


def _size(typed: str | None) -> str:
    """10,5 and 10.5 are one size."""
    return (typed or "").strip().replace(",", ".")


def _aboard_words(thing: Thing) -> str:
    words = [described.kind_word(thing.kind), described.class_word(thing.cls).lower()]
    cable = str(thing.pieces[0].identity.get("cable_size") or "")
    return ", ".join(word for word in (thing.name, *words, cable) if word)


class TruckForm(PlainForm):
    """What a truck is as a barrier. Days are the last good days."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    insulated = forms.TypedChoiceField(
        label=gettext_lazy("Boom"),
        choices=(("yes", gettext_lazy("Insulated")), ("no", gettext_lazy("Not insulated"))),
        widget=forms.RadioSelect,
        coerce=lambda word: word == "yes",
    )
    boom_kv = _number(
        gettext_lazy("Boom rated, kV phase-to-phase"),
        most=MOST_KV,
        unit="kV",
        help_text=gettext_lazy("As on its plate: 46."),
    )
    boom_good_through = day_field(
        gettext_lazy("Boom test good through"),
        required=False,
        help_text=gettext_lazy("The last good day, the day before the test is due."),
    )
    has_liner = forms.BooleanField(label=gettext_lazy("The bucket has a liner"), required=False)
    liner_good_through = day_field(gettext_lazy("Liner test good through"), required=False)
    note = text_field(gettext_lazy("Note"), most=200, required=False)

    def facts(self, name: str) -> TruckFacts:
        stated = self.cleaned_data
        kv = stated["boom_kv"]
        return TruckFacts(
            name,
            True,
            stated["insulated"],
            None if kv is None else _volts(kv),
            stated["boom_good_through"],
            stated["has_liner"],
            stated["liner_good_through"],
        )
