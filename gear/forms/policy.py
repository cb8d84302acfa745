"""Forms for the site policy and for adopting a rule pack. What would be laxer is said beside its field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms import BoundField
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from gear import wording
from gear.actions import policy as acts
from gear.forms.people import Plain, password_field
from gear.models import KIND_NAMES
from gear.rules import packs, policy
from gear.rules.packs import Interval, RulePack
from gear.rules.policy import SitePolicy

UNITS = (("months", _("months")), ("days", _("days")))
FLAGS = {
    "count_from_test": (
        _("Count every period from the test"),
        _("Not from first issue: shorter, and one date less to know."),
    ),
    "preuse_stops": (
        _("Stop without an inspection on record for the day"),
        _("Otherwise a missing inspection before use is a note beside the answer."),
    ),
    "other_holder_stops": (
        _("Stop gear that another person holds"),
        _("Otherwise it is a note beside the answer."),
    ),
}
SPANS = {"intervals": _("Test interval"), "shelf_limits": _("Shelf limit")}


@dataclass(frozen=True)
class KindRow:
    """What may be chosen for one kind of gear, with what the rule pack says of it."""

    name: str | Promise
    cells: tuple[SpanCell, ...]


@dataclass(frozen=True)
class SpanCell:
    """An interval to choose: its count and unit, what it may not exceed, and where that is written."""

    title: str | Promise
    count: BoundField
    unit: BoundField
    limit: Interval | None
    clause: str

    @property
    def limit_words(self) -> str:
        return span_in_words(self.limit)


class EffectiveForm(Plain):
    """Something that counts from a day on."""

    effective_from = forms.DateField(
        label=_("Counts from"),
        help_text=_("Today or later. What was told before that day stays as it was told."),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("effective_from"):
            self._try(acts.check_day, cleaned["effective_from"])
        return cleaned

    def _try(self, check: Any, *arguments: Any) -> Any:
        """What a check gives back; its refusal stands beside the field at fault."""
        try:
            return check(*arguments)
        except acts.RulesRefused as problem:
            self.add_error(problem.field if problem.field in self.fields else None, str(problem))
            return None


class PolicyForm(EffectiveForm):
    """Every choice of a site policy, kind by kind. `policy` is what the fields say once the form is valid."""

    policy: SitePolicy
    field_order = ("effective_from",)

    def __init__(self, *args: Any, pack: RulePack, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pack = pack
        self.kinds = [kind for kind in KIND_NAMES if pack.kind_rule(kind) is not None]
        for kind in self.kinds:
            for span, title in SPANS.items():
                self._add_span(span, kind, title)
        for name, (label, text) in FLAGS.items():
            self.fields[name] = forms.BooleanField(label=label, help_text=text, required=False)
        self.fields["due_soon_days"] = forms.IntegerField(
            label=_("Days before the last good day that count as due soon"), min_value=0, max_value=366
        )
        self.fields["phone_hours"] = forms.IntegerField(
            label=_("Hours for which a phone may answer without a network"),
            min_value=1,
            max_value=policy.LONGEST_PHONE_HOURS,
            help_text=_("At most 12. After that it says that it cannot say."),
        )
        self.fields["source"] = forms.CharField(
            label=_("Where these choices come from"),
            max_length=200,
            help_text=_(
                "Printed beside every date that follows from them, such as a number of your safety manual."
            ),
        )

    def _add_span(self, span: str, kind: str, title: Any) -> None:
        whole = f"{KIND_NAMES[kind]}, {title}"
        self.fields[f"{span}.{kind}"] = forms.IntegerField(
            label=whole,
            required=False,
            min_value=1,
            max_value=3660,
            widget=forms.NumberInput(attrs={"inputmode": "numeric", "aria-label": whole}),
        )
        self.fields[f"{span}.{kind}.unit"] = forms.ChoiceField(
            label=f"{whole}, {_('unit')}",
            choices=UNITS,
            widget=forms.Select(attrs={"aria-label": f"{whole}, {_('unit')}"}),
        )

    def rows(self) -> list[KindRow]:
        """The choices by kind, for a table."""
        return [
            KindRow(KIND_NAMES[kind], tuple(self._cell(span, kind) for span in SPANS)) for kind in self.kinds
        ]

    def others(self) -> list[BoundField]:
        """The fields below the table, in order."""
        return [self[name] for name in (*FLAGS, "due_soon_days", "phone_hours", "source")]

    def _cell(self, span: str, kind: str) -> SpanCell:
        rule = self.pack.kind_rule(kind)
        limit = rule and (rule.interval if span == "intervals" else rule.shelf_limit)
        clause = f"{rule.source}: {rule.clause}" if rule and limit else ""
        return SpanCell(
            SPANS[span], self[f"{span}.{kind}"], self[f"{span}.{kind}.unit"], limit or None, clause
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if self.errors:
            return cleaned
        spans = {span: self._chosen(span, cleaned) for span in SPANS}
        rest = {name: cleaned[name] for name in (*FLAGS, "due_soon_days", "phone_hours", "source")}
        try:
            self.policy = policy.parse({**spans, **rest})
        except policy.PolicyRefused as problem:
            self.add_error(problem.field if problem.field in self.fields else None, str(problem))
            return cleaned
        self.proposed = acts.proposed_policy(self.policy, effective_from=cleaned["effective_from"])
        for day, refusal in self._try(acts.conflicts, self.proposed) or ():
            sentence = acts.laxer_sentence(refusal)
            if day != cleaned["effective_from"]:
                sentence = _("From %(day)s on: %(sentence)s") % {
                    "day": wording.day(day),
                    "sentence": sentence,
                }
            self.add_error(refusal.field if refusal.field in self.fields else None, sentence)
        if not self.errors:
            self._try(acts.check_changes, self.proposed)
        return cleaned

    def _chosen(self, span: str, cleaned: dict[str, Any]) -> dict[str, dict[str, Any]]:
        return {
            kind: {"count": count, "unit": cleaned[f"{span}.{kind}.unit"]}
            for kind in self.kinds
            if (count := cleaned[f"{span}.{kind}"]) is not None
        }


def span_in_words(interval: Interval | None) -> str:
    """12 months, 30 days; empty without one."""
    if interval is None:
        return ""
    if interval.unit == "days":
        return ngettext("%d day", "%d days", interval.count) % interval.count
    return ngettext("%d month", "%d months", interval.count) % interval.count


def filled_with(chosen: SitePolicy) -> dict[str, Any]:
    """A policy as the initial values of its form."""
    values: dict[str, Any] = {
        name: getattr(chosen, name) for name in (*FLAGS, "due_soon_days", "phone_hours", "source")
    }
    for span in SPANS:
        for kind, interval in getattr(chosen, span).items():
            values |= {f"{span}.{kind}": interval.count, f"{span}.{kind}.unit": interval.unit}
    return values


class PackForm(EffectiveForm):
    pack = forms.ChoiceField(label=_("Rule pack"))
    field_order = ("pack", "effective_from")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pack"].choices = _pack_choices()  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if self.errors:
            return cleaned
        self.name, self.version = cleaned["pack"].split()
        proposed = self._try(self._propose, cleaned["effective_from"])
        if proposed is None:
            return cleaned
        self.proposed = proposed
        for day, refusal in self._try(acts.conflicts, proposed) or ():
            values = {
                "day": wording.day(day),
                "where": _where(refusal.field),
                "sentence": acts.laxer_sentence(refusal),
            }
            self.add_error("pack", _("Site policy on %(day)s, %(where)s: %(sentence)s") % values)
        if not self.errors:
            self._try(acts.check_changes, proposed)
        return cleaned

    def _propose(self, day: Any) -> Any:
        return acts.proposed_pack(self.name, self.version, effective_from=day)


def _where(field: str) -> str:
    """`intervals.glove` in words."""
    span, _point, kind = field.partition(".")
    return f"{KIND_NAMES.get(kind, kind)}, {SPANS[span]}" if span in SPANS else field


def _pack_choices() -> list[tuple[str, str]]:
    """(name and version, title) of every pack on file; one that cannot be loaded is named as such."""
    choices = []
    try:
        known = packs.known_packs()
    except packs.PackRefused:
        return []
    for name, version in known:
        try:
            title = packs.load(name, version).title
        except packs.PackRefused:
            title = str(_("cannot be read"))
        choices.append((f"{name} {version}", f"{title} ({name} {version})"))
    return choices


class ConfirmForm(Plain):
    """Why, and the password once more: what is decided here counts for everybody."""

    reason = forms.CharField(
        label=_("Reason"), max_length=400, help_text=_("Kept in the record with your name.")
    )
    current = password_field(
        _("Your password, once more"), new=False, help_text=_("This decides about everybody's gear.")
    )
