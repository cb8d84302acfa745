"""The findings of a job check in words: one sentence for each, its figure with the source, and what would close it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.queries import described
from gear.queries.entry_words import holder_word
from gear.rules.readiness import GOOD, NOTE, STOP, UNKNOWN, Reason
from inspections.models import JobCheck
from inspections.rules.job import MULTIPHASE, PARALLEL, Checked, Finding, Job, Offer
from inspections.rules.job_kept import findings_from_json, job_from_json

FIELDS = {
    "system_v": gettext_lazy("the system voltage"),
    "exposure": gettext_lazy("the exposure"),
    "method": gettext_lazy("the method"),
    "sites": gettext_lazy("how many work sites are grounded"),
    "grounding": gettext_lazy("how many grounding sets go to a site"),
    "x_over_r": gettext_lazy("X/R"),
    "fault_ka": gettext_lazy("the fault current"),
    "primary_cycles": gettext_lazy("the clearing time of the primary protection"),
    "backup_cycles": gettext_lazy("the clearing time of the backup protection"),
    "back_by": gettext_lazy("the back-by day"),
}
# code: sentence. Every value is filled in from the finding, in words.
SENTENCES = {
    "BLANK": gettext_lazy("Not entered: {field}. It is not assumed."),
    "PACK_REFUSED": gettext_lazy("The rules cannot be read, so nothing can be said."),
    "BACK_IN_THE_PAST": gettext_lazy("The back-by day {back_by} is past."),
    "LEFT_OUT": gettext_lazy("Said to be left out of this job: {things}. Keep it out of the work."),
    "TO_GROUND_CONDITION": gettext_lazy(
        "{exposure} to ground counts for rubber goods ONLY IF there is no multiphase exposure in the work area, or it "
        "was removed by insulating or isolating. Otherwise {system} counts."
    ),
    "CLASS_NEEDED": gettext_lazy("Class {class} or higher covers {exposure}."),
    "NO_CLASS_COVERS": gettext_lazy("No class of rubber goods covers {exposure}."),
    "NO_CREW": gettext_lazy("Nobody was named who goes."),
    "PAIR_FITS": gettext_lazy("{person}: {kind} {thing}, class {class}, {through}."),
    "PAIR_NONE": gettext_lazy("{person} has no {kind}. Class {class} is needed."),
    "PAIR_TOO_LOW": gettext_lazy(
        "{person}: {kind} {list} too low for this line. Class {needed} or higher is needed."
    ),
    "PAIR_NO_CLASS": gettext_lazy(
        "{person}: the record of {kind} {thing} states no class that the rules know."
    ),
    "PAIR_OTHER_SIZE": gettext_lazy("{person}: {kind} {thing} is size {size}, not {wanted}."),
    "PAIR_ODD": gettext_lazy("{person}: {thing} is one hand only, no pair."),
    "SIZE_NOT_STATED": gettext_lazy("{person}: no glove size was entered, and none is on record."),
    "PROTECTORS_SHORT": gettext_lazy(
        "{person}: {ready} of {needed} protectors that the kit of this site names."
    ),
    "PROTECTORS_FIT": gettext_lazy("{person}: {ready} protectors."),
    "LEAVE": gettext_lazy("{person} also has {kind} that are not for this job: {list}."),
    "TOO_LOW": gettext_lazy("{kind} {thing} is class {class}. Too low for this line."),
    "NO_RATING": gettext_lazy("{kind} {thing}: no rating is known for what is recorded of it."),
    "BRUSH_CONTACT": gettext_lazy(
        "Rigid cover: covered phase to covered phase only, never to a bare one; brush contact only; clean and dry."
    ),
    "NO_COVER": gettext_lazy("No cover is recorded aboard."),
    "FITS": gettext_lazy("{count} {kind}, class {class}: {through}."),
    "NO_LIVE_LINE_TOOL": gettext_lazy("No live-line tool aboard is good through the back-by day."),
    "NO_GROUNDS_ASKED": gettext_lazy("No site is grounded, so no grounding set was judged."),
    "IN_NO_SET": gettext_lazy("Jumper {thing} belongs to no set and does not count."),
    "SET_CARRIES": gettext_lazy(
        "Set {thing}, {cable}, grade {grade}: carries {withstand} kA for {column} cycles, {through}."
    ),
    "SET_TOO_SMALL": gettext_lazy(
        "Set {thing}, {cable}, grade {grade}: {withstand} kA for {column} cycles. Too small for {fault} kA."
    ),
    "SET_NOT_JUDGED": gettext_lazy("Set {thing}, {cable}: {why}."),
    "SETS_SHORT": gettext_lazy("{ready} of {sites} sites have grounding sets that count ({sets})."),
    "SETS_ENOUGH": gettext_lazy("Grounding sets for {sites} of {sites} sites ({sets})."),
    "NOT_GOOD": gettext_lazy("{kind} {thing}: {item} is not good today ({reason})."),
    "NOT_GOOD_THEN": gettext_lazy("{kind} {thing}: {item} will not be good on {back_by} ({reason})."),
    "NOT_READ": gettext_lazy("{kind} {thing}: nothing can be said about the back-by day."),
    "SET_APART": gettext_lazy("{kind} {thing}: a piece of it is elsewhere."),
    "OUT_BEFORE_RETURN": gettext_lazy(
        "{kind} {thing} goes out of date on day {day}: last good day {last_day}, back by {back_by}."
    ),
    "GONE": gettext_lazy("Still recorded here, but lost or destroyed: {things}. If it turns up, hand it in."),
    "NO_TRUCK": gettext_lazy("No truck was chosen."),
    "TRUCK_NOT_ON_RECORD": gettext_lazy("Nothing is on record about the boom of {truck}."),
    "NOT_INSULATED": gettext_lazy("{truck} is on record as not insulated: its boom is no barrier."),
    "BOOM_NOT_RATED": gettext_lazy("{truck}: the rating of the boom is not on record."),
    "BOOM_TOO_LOW": gettext_lazy("{truck}: the boom is rated {rated}, the system has {system}."),
    "BOOM_RATED": gettext_lazy("{truck}: boom rated {rated} phase-to-phase."),
    "BOOM_NOT_DATED": gettext_lazy("{truck}: no day of a boom test is on record."),
    "BOOM_OUT_OF_DATE": gettext_lazy("{truck}: the boom test was good through {last_day}."),
    "BOOM_OUT_BEFORE_RETURN": gettext_lazy(
        "{truck}: the boom test runs out on day {day}: last good day {last_day}, back by {back_by}."
    ),
    "BOOM_IN_DATE": gettext_lazy("{truck}: boom test good through {last_day}."),
    "LINER_NOT_DATED": gettext_lazy("{truck}: no day of a liner test is on record."),
    "LINER_OUT_OF_DATE": gettext_lazy("{truck}: the liner test was good through {last_day}."),
    "LINER_OUT_BEFORE_RETURN": gettext_lazy(
        "{truck}: the liner test runs out on day {day}: last good day {last_day}, back by {back_by}."
    ),
    "LINER_IN_DATE": gettext_lazy("{truck}: liner test good through {last_day}."),
}
WHY = {
    "GRADE_NOT_KNOWN": gettext_lazy("its grade is not known"),
    "CABLE_NOT_TABULATED": gettext_lazy("its cable size is in no table"),
    "COMPONENT_NOT_STATED": gettext_lazy("cable, clamp or ferrule is not stated, and the weakest counts"),
    "GRADES_DO_NOT_COMPARE": gettext_lazy("its grades do not compare"),
    "ASK_ENGINEERING": gettext_lazy("no withstand is tabulated beyond 30 cycles. Ask engineering"),
    "NO_TABULATED_DURATION": gettext_lazy("nothing is tabulated for so long a time. Ask engineering"),
    "HIGH_X_OVER_R_NEEDS_H_GRADE": gettext_lazy("above X/R 1.8 only a high X/R (H) grade can be judged"),
    "X_OVER_R_BEYOND_TABLE": gettext_lazy("the high X/R grades are rated at X/R 30. Ask engineering"),
    "NO_PARALLEL_AT_HIGH_X_OVER_R": gettext_lazy(
        "no practice is published for two sets at high X/R. Ask engineering"
    ),
    "PAIR_TOO_LOW": gettext_lazy("class too low"),
    "PAIR_OTHER_SIZE": gettext_lazy("another size"),
    "PAIR_NO_CLASS": gettext_lazy("no class on record"),
    "PAIR_ODD": gettext_lazy("one hand only"),
    "NOT_GOOD": gettext_lazy("not good today"),
    "NOT_GOOD_THEN": gettext_lazy("not good on the back-by day"),
    "OUT_BEFORE_RETURN": gettext_lazy("goes out of date on the way"),
    "SET_APART": gettext_lazy("a piece is elsewhere"),
    "NOT_READ": gettext_lazy("the back-by day cannot be judged"),
}
KINDS = {
    "glove": gettext_lazy("gloves"),
    "sleeve": gettext_lazy("sleeves"),
    "grounding_jumper": gettext_lazy("grounding set"),
}
HEADINGS = {
    STOP: gettext_lazy("What stands against it"),
    UNKNOWN: gettext_lazy("What cannot be said"),
    NOTE: gettext_lazy("To be kept in mind"),
    GOOD: gettext_lazy("What fits"),
}
CAUTION = gettext_lazy("In date and rated for what was entered. The qualified person decides.")
NOT_SHOWN = gettext_lazy(
    "Not shown to be in date and rated for what was entered. The qualified person decides."
)
_PLURALS = {
    "blanket": gettext_lazy("blankets"),
    "line_hose": gettext_lazy("lengths of line hose"),
    "hood": gettext_lazy("hoods"),
    "rigid_cover": gettext_lazy("pieces of rigid cover"),
    "live_line_tool": gettext_lazy("live-line tools"),
}


def kilovolts(volts: Any) -> str:
    """`24.9 kV`: never more than the figures that were entered, and 14,377 V as 14.4 kV."""
    kv = Decimal(int(volts)) / 1000
    shown = kv.quantize(Decimal("0.1")) if int(volts) % 10 else kv.normalize() + 0
    return f"{shown:f} kV"


def verdict_words(row: JobCheck) -> str:
    """The words across the screen."""
    if row.verdict == GOOD and row.back_by:
        return wording.VERDICTS[GOOD].format(date=wording.day(row.back_by))
    return str(wording.VERDICTS[row.verdict]) if row.verdict in (STOP, UNKNOWN) else ""


def sentence(finding: Finding) -> str:
    """One plain sentence. A code without words falls back to the code itself, never to nothing."""
    words = _words(finding)
    if finding.code == "FITS" and not finding.values.get("class"):
        return _("%(count)s %(kind)s: %(through)s.") % words
    if finding.code not in SENTENCES:
        return finding.code
    try:
        return SENTENCES[finding.code].format(**words)
    except (KeyError, IndexError):
        return f"{finding.code}: " + ", ".join(f"{name} {value}" for name, value in words.items())


def _words(finding: Finding) -> dict[str, str]:
    given = finding.values
    words = {name: _word(name, value) for name, value in given.items()}
    kind = str(given.get("kind", ""))
    words["kind"] = str(KINDS.get(kind) or described.kind_word(kind))
    if finding.code in ("FITS", "NO_COVER"):
        words["kind"] = str(_PLURALS.get(kind) or words["kind"])
    elif finding.code not in ("PAIR_NONE", "LEAVE") and not finding.code.startswith("PAIR"):
        words["kind"] = words["kind"][:1].upper() + words["kind"][1:]
    words["list"] = _listed(given)
    last = given.get("last_day")
    words["through"] = _("good through %s") % _day(last) if last else _("no date runs on it")
    if "exposure_v" in given:
        words["exposure"] = kilovolts(given["exposure_v"])
    for name, value in (("system", "system_v"), ("rated", "rated_v")):
        if value in given:
            words[name] = kilovolts(given[value])
    words["withstand"], words["fault"] = str(given.get("withstand_ka", "")), str(given.get("fault_ka", ""))
    words["sets"] = _("two equal sets each") if given.get("sets") == PARALLEL else _("one set each")
    return words


def _listed(given: Mapping[str, Any]) -> str:
    """`P-1 (class 2), P-2 (class 0)`, or `P-3 (out of date on the way)`."""
    if "left" in given:
        return ", ".join(f"{name} ({WHY.get(why, why)})" for name, why in sorted(given["left"].items()))
    things = given.get("things")
    if given.get("needed") is None or not isinstance(things, dict):
        return ""
    return ", ".join(f"{name} ({described.class_word(cls).lower()})" for name, cls in sorted(things.items()))


def _word(name: str, value: Any) -> str:
    if name == "field":
        return str(FIELDS.get(str(value), value))
    if name in ("last_day", "back_by"):
        return _day(value)
    if name == "reason":
        return wording.short(Reason(str(value), ""))
    if name == "why":
        return str(WHY.get(str(value), value))
    if isinstance(value, list):
        return ", ".join(str(one) for one in value)
    return str(value)


def _day(text: Any) -> str:
    return wording.day(date.fromisoformat(str(text))) if text else ""


def figure_words(figure: Mapping[str, Any]) -> str:
    """`17.0 kV, 29 CFR 1910.137, Table I-4. Confirm against your own copy of the standard.`"""
    value, unit = str(figure["value"]), str(figure["unit"])
    if unit == "V" and value.isdigit():
        value, unit = kilovolts(value).split(" ")
    parts = [f"{value} {unit}".strip(), str(figure["source"]), str(figure["clause"])]
    told = ", ".join(part for part in parts if part)
    return _("%s. Confirm against your own copy of the standard.") % told if figure["confirm"] else f"{told}."


def offer_words(offer: Offer) -> str:
    """`P-0031, class 3, Shelf Tannery Road tool room, good through 2 OCT 2026`."""
    cls = _("class %s") % offer.cls if offer.cls else ""
    last = _("good through %s") % wording.day(offer.last_day) if offer.last_day else _("no date runs on it")
    depot = str(offer.holder.get("depot") or "")
    place = holder_word(offer.holder) if offer.holder.get("kind") else ""
    place = f"{place} ({depot})" if depot and depot not in place else place
    return ", ".join(part for part in (offer.name, cls, place, last) if part)


def told_finding(finding: Finding) -> dict[str, Any]:
    """A finding as a page or a sheet shows it."""
    return {
        "part": finding.part,
        "code": finding.code,
        "verdict": finding.verdict,
        "sentence": sentence(finding),
        "figures": [figure_words(one) for one in finding.figures],
        "offers": [offer_words(one) for one in finding.offers],
        "wanted": finding.want is not None and finding.verdict != NOTE,
        "things": _things(finding.values),
    }


def _things(values: Mapping[str, Any]) -> str:
    """The numbers that a good line rests on, each with its last good day."""
    things = values.get("things")
    if "count" not in values or not isinstance(things, dict):
        return ""
    return "; ".join(f"{name} {_day(last)}".strip() for name, last in sorted(things.items()))


def told_check(row: JobCheck) -> dict[str, Any]:
    """A job check as it was told, in parts under their headings, the worst first. Never an approach distance."""
    found = findings_from_json(row.findings)
    parts = [
        {"heading": str(HEADINGS[verdict]), "verdict": verdict, "findings": _of(found, verdict)}
        for verdict in (STOP, UNKNOWN, NOTE, GOOD)
    ]
    return {
        "row": row,
        "verdict": row.verdict,
        "words": verdict_words(row),
        "asked": asked_rows(job_from_json(row.asked["job"]), row.asked["crew"]),
        "parts": [part for part in parts if part["findings"]],
        "caution": str(CAUTION if row.verdict == GOOD else NOT_SHOWN),
        "as_of": wording.day(row.as_of),
    }


def _of(found: Checked, verdict: str) -> list[dict[str, Any]]:
    return [told_finding(one) for one in found.findings if one.verdict == verdict]


def asked_rows(job: Job, crew: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """What was entered, with its units; what was not says so."""
    blank = _("not entered")
    exposures = {MULTIPHASE: _("multiphase")}
    exposure = exposures.get(job.exposure, _("phase-to-ground only")) if job.exposure else blank
    methods = {"gloves": _("rubber gloves"), "stick": _("live-line tools")}
    sets = {"single": _("one set to a site"), PARALLEL: _("two equal sets to a site")}
    people = ", ".join(
        _("%(name)s (size %(size)s)") % {"name": one["name"], "size": one["size"] or "?"} for one in crew
    )
    rows = [
        (_("System voltage"), kilovolts(job.system_v) if job.system_v else blank),
        (_("Exposure"), exposure),
        (_("Method"), methods.get(job.method, blank)),
        (_("Grounded sites"), blank if job.sites is None else str(job.sites)),
    ]
    if job.sites != 0:
        cycles = [blank if one is None else str(one) for one in (job.primary_cycles, job.backup_cycles)]
        rows += [
            (_("Grounding sets"), sets.get(job.grounding, blank)),
            (_("Fault current"), blank if job.fault_ka is None else f"{job.fault_ka} kA"),
            ("X/R", blank if job.x_over_r is None else str(job.x_over_r)),
            (_("Clearing time, primary"), _("%s cycles") % cycles[0] if cycles[0] != blank else blank),
            (_("Clearing time, backup"), _("%s cycles") % cycles[1] if cycles[1] != blank else blank),
        ]
    rows += [(_("Crew"), people or blank), (_("Back by"), wording.day(job.back_by) if job.back_by else blank)]
    return rows
