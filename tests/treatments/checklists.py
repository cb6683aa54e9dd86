"""Checklists with restored objects, and people to work on them, for the tests of levels, hours and forecasts."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from django.http import HttpResponse
from django.utils import timezone

from media.base import jobs
from survey.models import Exhibition, Joint, Milestone, Object, ObjectRisk, Overpaint, Restoration, RiskRun
from survey.risk.db import services as risk
from tests import builders
from treatments.forecast.db import services as forecast
from treatments.models import Plan, StaffMember, Workplace
from treatments.options.db import services as options
from treatments.options.steps import SKILLS
from treatments.planning.db import services as planning

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


def text(response: HttpResponse) -> str:
    """What a page says, with plain blanks."""
    return response.content.decode().replace("\u00a0", " ")


def now() -> datetime:
    return timezone.now()


def scored(*things, band="do_not_lift") -> RiskRun:
    """A finished scoring in which every object given is of one band, the first the worst."""
    now = timezone.now()
    parameters = risk.ensure_parameters(at=now)
    run = RiskRun.objects.create(parameters=parameters, as_of=today(), began_at=now, finished_at=now)
    for rank, thing in enumerate(things, start=1):
        ObjectRisk.objects.create(
            run=run, object=thing, band=band, band_order=0, before_opening=0.5, before_opening_low=0.1,
            before_opening_high=0.9, yearly=0.1, loss=0.1, weighted_loss=0.1, joints=1, rank_by_weighted=rank,
            reasons=[{"text": "A joint moves."}],
        )  # fmt: skip
    return run


def forecast_now() -> None:
    _, job = forecast.start_forecast(by=None, at=timezone.now(), trials=50)
    jobs.run(job.pk)


def planned(**asked: Any) -> Plan:
    """A plan asked for and made here and now, searched for a moment."""
    row, job = planning.start_plan(by=None, at=timezone.now(), **{"seconds": 1.0} | asked)
    jobs.run(job.pk)
    row.refresh_from_db()
    return row
