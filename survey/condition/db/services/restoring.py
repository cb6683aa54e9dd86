"""Old restorations with their joints, fills and overpaint, as found in an open assessment."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, TypeVar

from django.db import transaction
from django.db.models import ProtectedError

from media.base import events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.condition import plausible
from survey.condition.db.models import (
    Adhesive,
    Assessment,
    Basis,
    Fill,
    Joint,
    Overpaint,
    Restoration,
    Workshop,
)
from survey.condition.db.services.seeing import state_of
from survey.condition.db.services.steps import Step, Thing, held, kind_of
from survey.register.dates import parse_years

LETTERS = {Joint: "J", Fill: "F", Overpaint: "P"}
MOST = 200  # joints, fills or areas of paint on one restoration
SIZES = {  # what a person calls it, most, unit
    "length_mm": ("length", 10_000, "mm"),
    "wall_mm": ("wall", 500, "mm"),
    "lever_mm": ("overhang", 5_000, "mm"),
    "held_mass_kg": ("mass", 500, "kg"),
    "area_cm2": ("area", 50_000, "cm²"),
}
FIELDS: dict[type[Thing], tuple[str, ...]] = {
    Joint: ("part", "length_mm", "wall_mm", "lever_mm", "held_mass_kg", "structural", "adhesive", "basis"),
    Fill: ("part", "material", "area_cm2"),
    Overpaint: ("part", "area_cm2", "over_original"),
}
MATERIALS = {code for code, _ in Fill._meta.get_field("material").choices or ()}
T = TypeVar("T", Joint, Fill, Overpaint)


def add_workshop(name: str, *, by: User | None, at: datetime) -> Workshop:
    """The workshop of this name, new if it was not known."""
    name = " ".join(name.split())
    if not name or len(name) > 200:
        raise FettleError("Give the workshop a name of at most 200 characters.")
    with transaction.atomic():
        made, new = Workshop.objects.get_or_create(name=name)
        if new:
            events.record(made, "added", by=by, at=at, became={"name": name})
    return made


@transaction.atomic
def add_restoration(
    assessment: Assessment,
    *,
    date_text: str = "",
    workshop: Workshop | None = None,
    notes: str = "",
    strict: bool = False,
    by: User | None,
    at: datetime,
) -> Restoration:
    """Record a campaign of old work on the object. Years are read out of ``date_text`` ("about 1950").

    ``strict`` refuses what cannot be; without it, it is kept as it was said and marked where it is scored.
    """
    assessment = held(assessment)
    row = Restoration(object=assessment.object, workshop=workshop, **_restored(date_text, notes))
    if strict:
        _refuse(plausible.of_dates(row.year_earliest, row.year_latest, year=at.year))
    Step(assessment, by, at).add(row, "old restoration added")
    return row


@transaction.atomic
def edit_restoration(
    assessment: Assessment,
    restoration: Restoration,
    *,
    date_text: str,
    workshop: Workshop | None,
    notes: str,
    strict: bool = False,
    by: User | None,
    at: datetime,
) -> Restoration:
    """Say anew when, by whom and how a restoration was made; ``strict`` as in ``add_restoration``."""
    assessment = held(assessment)
    _own(restoration, assessment)
    values = {**_restored(date_text, notes), "workshop_id": workshop.pk if workshop else None}
    if strict:
        years = values["year_earliest"], values["year_latest"]
        _refuse(plausible.of_dates(*years, year=at.year))
        for joint in restoration.joints.exclude(adhesive=""):
            _refuse(plausible.of_adhesive(joint.adhesive, joint.get_adhesive_display(), *years), joint.label)
    Step(assessment, by, at).change(restoration, values, "old restoration changed")
    return restoration


def _restored(date_text: str, notes: str) -> dict[str, Any]:
    date_text = " ".join(date_text.split())
    if len(date_text) > 80:
        raise FettleError("The date of a restoration has at most 80 characters: put the rest into the notes.")
    earliest, latest = parse_years(date_text)
    return {"date_text": date_text, "notes": notes.strip(), "year_earliest": earliest, "year_latest": latest}


@transaction.atomic
def remove_restoration(assessment: Assessment, restoration: Restoration, *, by: User | None, at: datetime) -> None:
    """Take back a restoration on which nothing is recorded."""
    assessment = held(assessment)
    _own(restoration, assessment)
    if restoration.joints.exists() or restoration.fills.exists() or restoration.overpaints.exists():
        raise Clash("Joints, fills or paint are recorded on this restoration: remove them first.")
    Step(assessment, by, at).remove(restoration, "old restoration removed")


def add_joint(
    assessment: Assessment, restoration: Restoration, values: Mapping[str, Any], *, by: User | None, at: datetime
) -> Joint:
    """Record a joint (J1, J2 …); ``values`` are of ``FIELDS``, what is not known left out or None."""
    return _add(Joint, assessment, restoration, values, by=by, at=at)


def add_fill(
    assessment: Assessment, restoration: Restoration, values: Mapping[str, Any], *, by: User | None, at: datetime
) -> Fill:
    """Record a fill (F1, F2 …)."""
    return _add(Fill, assessment, restoration, values, by=by, at=at)


def add_overpaint(
    assessment: Assessment, restoration: Restoration, values: Mapping[str, Any], *, by: User | None, at: datetime
) -> Overpaint:
    """Record an area of overpaint (P1, P2 …)."""
    return _add(Overpaint, assessment, restoration, values, by=by, at=at)


@transaction.atomic
def _add(
    model: type[T],
    assessment: Assessment,
    restoration: Restoration,
    values: Mapping[str, Any],
    *,
    by: User | None,
    at: datetime,
) -> T:
    assessment = held(assessment)
    restoration = Restoration.objects.select_for_update(of=("self",)).get(pk=restoration.pk)
    _own(restoration, assessment)
    row = model(restoration=restoration, label=_label(model, assessment), **_checked(model, values))
    Step(assessment, by, at).add(row, f"{row.label} added")
    return row


@transaction.atomic
def edit_thing(
    assessment: Assessment,
    thing: Thing,
    values: Mapping[str, Any],
    *,
    strict: bool = False,
    by: User | None,
    at: datetime,
) -> Thing:
    """Change what is recorded of a joint, fill or overpaint itself (not how it looks today).

    ``strict`` as in ``add_restoration``.
    """
    assessment = held(assessment)
    thing = _now(thing)
    _own(thing.restoration, assessment)
    checked = _checked(type(thing), {**{name: getattr(thing, name) for name in FIELDS[type(thing)]}, **values})
    if strict and isinstance(thing, Joint):
        _refuse_impossible_joint(thing, {name: new for name, new in checked.items() if new != getattr(thing, name)})
    Step(assessment, by, at).change(thing, checked, f"{thing.label} changed")
    return thing


def _refuse_impossible_joint(joint: Joint, changed: Mapping[str, Any]) -> None:
    """Refuse what is new and cannot be; what stood in the record before is no reason to refuse something else."""
    restoration, thing = joint.restoration, joint.restoration.object
    if adhesive := changed.get("adhesive"):
        years = restoration.year_earliest, restoration.year_latest
        _refuse(plausible.of_adhesive(adhesive, Adhesive(adhesive).label, *years))
    sizes = (thing.height_mm, thing.width_mm, thing.depth_mm, thing.diameter_mm)
    _refuse(plausible.of_sizes(changed.get("wall_mm"), changed.get("lever_mm"), sizes))


def _refuse(wrong: Sequence[str], label: str = "") -> None:
    if wrong:
        raise FettleError(f"{label}: {wrong[0]}" if label else wrong[0])


@transaction.atomic
def remove_thing(assessment: Assessment, thing: Thing, *, by: User | None, at: datetime) -> None:
    """Take back a joint, fill or overpaint that no other assessment has looked at, with what this one says of it."""
    assessment = held(assessment)
    thing = _now(thing)
    _own(thing.restoration, assessment)
    step, words = Step(assessment, by, at), f"{thing.label} removed"
    state = state_of(assessment, thing)
    assessment.signs.filter(**{kind_of(thing): thing}).delete()
    if isinstance(thing, Joint):
        assessment.joints_seen.filter(joint=thing).delete()
        for evidence in thing.evidence.order_by("pk"):
            step.remove(evidence, words)
    step.note("saw", thing, was=state, became={"stage": None, "answer": None, "signs": []}, words=words)
    try:
        step.remove(thing, words)
    except ProtectedError as error:
        raise Clash(
            f"{thing.label} stands in another assessment, so it stays. Say that it was not seen, or what you see of it."
        ) from error


def _now(thing: Thing) -> Thing:
    rows = type(thing)._default_manager.select_for_update(of=("self",)).select_related("restoration")
    row: Thing | None = rows.filter(pk=thing.pk).first()
    if row is None:
        raise Clash("This part was removed, so nothing was written. Go back to the list of parts.")
    return row


def _own(restoration: Restoration, assessment: Assessment) -> None:
    if restoration.object_id != assessment.object_id:
        raise FettleError("This restoration is on another object: go back to its own page.")


def _label(model: type[Thing], assessment: Assessment) -> str:
    """The next free label on the object; one after the highest."""
    letter = LETTERS[model]
    taken = model._default_manager.filter(restoration__object=assessment.object_id, label__startswith=letter)
    numbers = [int(label[1:]) for label in taken.values_list("label", flat=True) if label[1:].isdecimal()]
    if len(numbers) >= MOST:
        raise FettleError(f"An object holds at most {MOST} of these: record the rest in the notes.")
    return f"{letter}{max(numbers, default=0) + 1}"


def _checked(model: type[Thing], values: Mapping[str, Any]) -> dict[str, Any]:
    unknown = set(values) - set(FIELDS[model])
    if unknown:
        raise FettleError(f"{sorted(unknown)[0]} is not recorded of this.")
    checked = dict(values)
    checked["part"] = " ".join(str(values.get("part") or "").split())[:80]
    for name in SIZES:
        if values.get(name) is not None:
            checked[name] = _size(name, values[name])
    for name in ("structural", "over_original"):
        if values.get(name) not in (None, True, False):
            raise FettleError("Answer yes, no, or not known.")
    if model is Joint:
        checked |= _adhesive(values.get("adhesive") or "", values.get("basis") or "")
    if values.get("material") and values["material"] not in MATERIALS:
        raise FettleError("Choose the material of the fill from the list, or leave it as not known.")
    return checked


def _size(name: str, value: Any) -> float:
    called, most, unit = SIZES[name]
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = math.nan
    if not 0 < number <= most:
        limits = f"must be more than 0 and at most {most:,} {unit}"
        raise FettleError(f"The {called} {limits}; leave it empty if not measured.")
    return number


def _adhesive(adhesive: str, basis: str) -> dict[str, str]:
    if adhesive and adhesive not in Adhesive.values:
        raise FettleError("Choose the adhesive from the list, or leave it as not known.")
    if adhesive and basis not in Basis.values:
        raise FettleError("Say what the adhesive is known by: date and hand, look, a test, a record or an analysis.")
    return {"adhesive": adhesive, "basis": basis if adhesive else ""}
