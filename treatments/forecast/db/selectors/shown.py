"""Forecasts as they are shown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from media.base.models import Event, Job, JobState
from media.base.pages import Page, keyset
from survey.register.db.models import Exhibition, MilestoneKind
from survey.register.db.selectors import milestones_of
from treatments.forecast.db.models import Forecast, ObjectForecast
from treatments.planning.db.models import StaffMember

LATE = 0.1  # chance from which an object is listed as likely late
SHOWN_LATE = 12
COUNTED = (
    "treatments.chosenlevel", "treatments.leveltable", "treatments.staffmember", "treatments.holiday",
    "treatments.workplace", "survey.milestone", "survey.checklistentry", "survey.exhibition",
)  # fmt: skip
"""Kinds of rows whose changes a forecast made before them does not know."""


def latest_forecast(exhibition: Exhibition | None) -> Forecast | None:
    """The newest finished forecast of an exhibition."""
    if exhibition is None:
        return None
    rows = Forecast.objects.filter(exhibition=exhibition, finished_at__isnull=False)
    return rows.select_related("exhibition", "job").order_by("-finished_at").first()


def forecast_of_each_day(forecast: Forecast, *, at_most: int = 60) -> list[Forecast]:
    """The last finished forecast of each day up to this one, oldest first. One query."""
    rows = Forecast.objects.filter(exhibition=forecast.exhibition, finished_at__lte=forecast.finished_at)
    newest = {row.as_of: row for row in rows.order_by("finished_at").only("as_of", "finish", "chances")}
    return [newest[day] for day in sorted(newest)][-at_most:]


def nobody_works() -> bool:
    """Whether no staff are recorded at all: then there is nothing to forecast with."""
    return not StaffMember.objects.exists()


def newest_job(exhibition: Exhibition | None) -> Job | None:
    """The job of the forecast asked for last, while it runs or if it failed; none when its answer is shown."""
    if exhibition is None:
        return None
    row = Forecast.objects.filter(exhibition=exhibition, job__isnull=False).select_related("job").order_by("-made_at")
    found = row.first()
    wanted = {JobState.QUEUED, JobState.RUNNING, JobState.FAILED}
    return found.job if found and found.job and found.job.state in wanted else None


@dataclass(frozen=True)
class MilestoneChance:
    """A date, and the chance that all due by it is ready; ``past`` where it was over on the day of the forecast."""

    name: str
    date: date
    chance: float
    past: bool
    weakest: bool


@dataclass(frozen=True)
class ShownForecast:
    """A forecast as its page draws it. ``history`` has the chance, ``fan`` the 10, 50, 90 % dates, day by day."""

    row: Forecast
    milestones: list[MilestoneChance]
    opening: date | None
    at_opening: float | None
    finish: dict[str, date | None]
    history: list[dict[str, Any]]
    fan: list[dict[str, Any]]
    weeks: list[dict[str, Any]]
    readiness: list[tuple[date, float]]
    late: list[ObjectForecast]
    more_late: bool
    changes: int

    @property
    def weakest(self) -> MilestoneChance | None:
        """The milestone before opening day that is least likely to be met, if one is less likely than opening."""
        return next((milestone for milestone in self.milestones if milestone.weakest), None)

    @property
    def short(self) -> float:
        """Hours needed beyond those that there are, in the middle; negative when there are hours to spare."""
        return float(self.row.hours_needed.get("likely", 0.0)) - self.row.hours_there

    @property
    def spare(self) -> float:
        return -self.short


def shown_forecast(exhibition: Exhibition | None) -> ShownForecast | None:
    """The newest finished forecast with everything that its page draws. Six queries."""
    row = latest_forecast(exhibition)
    if row is None or exhibition is None:
        return None
    dates = milestones_of(exhibition)
    past = forecast_of_each_day(row)
    late = row.object_forecasts.filter(late__gt=LATE).select_related("object").order_by("-late", "object")
    shown = list(late[: SHOWN_LATE + 1])
    return ShownForecast(
        row=row,
        milestones=_milestones(row, dates),
        opening=dates.get("opening"),
        at_opening=row.chances.get("opening"),
        finish=_finish(row),
        history=[{"date": p.as_of, "chance": p.chances["opening"]} for p in past[:-1] if "opening" in p.chances],
        fan=[point for each in past if (point := _fan_point(each))],
        weeks=[{**week, "week": date.fromisoformat(week["week"])} for week in row.weeks],
        readiness=[(date.fromisoformat(day), chance) for day, chance in row.curve],
        late=shown[:SHOWN_LATE],
        more_late=len(shown) > SHOWN_LATE,
        changes=Event.objects.filter(subject_kind__in=COUNTED, at__gt=row.made_at).count(),
    )


def _milestones(row: Forecast, dates: dict[str, date]) -> list[MilestoneChance]:
    known = [(kind, chance) for kind, chance in row.chances.items() if kind in dates]
    before = [(chance, kind) for kind, chance in known if kind != "opening" and dates[kind] >= row.as_of]
    opening = row.chances.get("opening", 1.0)
    least = min(before)[1] if before and min(before)[0] < opening else ""
    made = [
        MilestoneChance(str(MilestoneKind(kind).label), dates[kind], chance, dates[kind] < row.as_of, kind == least)
        for kind, chance in known
    ]
    return sorted(made, key=lambda milestone: milestone.date)


def _finish(row: Forecast) -> dict[str, date | None]:
    """1 in 10, even and 9 in 10 dates of the last object."""
    return {name: date.fromisoformat(day) if day else None for name, day in row.finish.items()}


def _fan_point(row: Forecast) -> dict[str, Any] | None:
    """When everything would be ready, as one day's forecast saw it; none where that was out of reach."""
    found = _finish(row)
    names = {"low": found.get("10"), "middle": found.get("50"), "high": found.get("90")}
    return {"date": row.as_of, **names} if all(names.values()) else None


def late_page(forecast: Forecast | None, *, after: str | None, size: int = 50) -> Page[ObjectForecast]:
    """Objects of a forecast, the most likely late first. One query."""
    rows = ObjectForecast.objects.filter(forecast=forecast).select_related("object__place")
    return keyset(rows, order=["-late", "object_id"], after=after, size=size)
