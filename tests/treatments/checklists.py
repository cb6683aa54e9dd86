"""Checklists with restored objects, and people to work on them, for the tests of levels, hours and forecasts."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from django.utils import timezone

from survey.models import Exhibition, Joint, Milestone, Object, Overpaint, Restoration
from tests import builders
from treatments.models import StaffMember, Workplace
from treatments.options.db import services as options
from treatments.options.steps import SKILLS

FULL_WEEK = [[9.0, 7.5]] * 5 + [[9.0, 0.0]] * 2


def today() -> date:
    return timezone.localdate()


def in_days(days: int) -> date:
    return today() + timedelta(days=days)


def an_exhibition(*, opens_in: int = 90, **fields: Any) -> Exhibition:
    """An exhibition whose opening lies so many days ahead, with the usual dates before it, and levels in force."""
    options.ensure_levels(at=builders.NOW)
    return builders.an_exhibition(opening=in_days(opens_in), **fields)


def a_restored(*stages: int | None, looked: bool = True, **fields: Any) -> Object:
    """An object with a joint for each stage, looked at unless said otherwise."""
    thing = builders.an_object(joints=len(stages), height_mm=200, width_mm=150, **fields)
    joints = Joint.objects.filter(restoration__object=thing).order_by("label")
    if looked:
        seen = {joint: stage for joint, stage in zip(joints, stages, strict=True) if stage is not None}
        builders.an_assessment(thing, stages=seen)
    return thing


def listed(exhibition: Exhibition, *stages: int | None, entry: dict[str, Any] | None = None, **fields: Any) -> Object:
    """A restored object on the checklist."""
    thing = a_restored(*stages, **fields)
    builders.an_entry(exhibition, thing, **(entry or {}))
    return thing


def a_member(name: str = "Ann", **fields: Any) -> StaffMember:
    """Somebody who can do everything, five days a week."""
    return StaffMember.objects.create(
        **{"name": name, "skills": list(SKILLS), "week": FULL_WEEK, "bench_share": 0.65} | fields
    )


def benches(*, hoods: int = 2, benches: int = 1) -> None:
    Workplace.objects.create(kind="hood", count=hoods)
    Workplace.objects.create(kind="bench", count=benches)


def painted(thing: Object, area: float) -> None:
    Overpaint.objects.create(restoration=Restoration.objects.get(object=thing), label="P1", area_cm2=area)


def move_date(exhibition: Exhibition, kind: str, day: date) -> None:
    Milestone.objects.filter(exhibition=exhibition, kind=kind).update(date=day)


def now() -> datetime:
    return timezone.now()
