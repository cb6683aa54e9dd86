"""Forecasts as they are shown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from media.base.models import Event, Job, JobState
from media.base.pages import Page, keyset
from survey.register.db.models import Exhibition, MilestoneKind, Object
from survey.register.db.selectors import milestones_of
from treatments.forecast.db.models import Forecast, ObjectForecast
from treatments.hours.db.models import Treatment
from treatments.planning.db.models import StaffMember

LATE = 0.1  # chance from which an object is listed as likely late
SHOWN_LATE = 12
COUNTED = (
    "treatments.chosenlevel", "treatments.leveltable", "treatments.staffmember", "treatments.holiday",
    "treatments.workplace", "treatments.treatment", "treatments.mishap",
    "treatments.estimatefactor", "survey.milestone", "survey.checklistentry", "survey.exhibition",
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
    fields = ("as_of", "finish", "chances", "curve", "counts", "done")
    newest = {row.as_of: row for row in rows.order_by("finished_at").only(*fields)}
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
class Buffer:
    """A date and when all due by it is ready; ``hand`` are days between 8 times in 10 and the date, None for never."""

    name: str
    day: date
    half: date | None
    eight: date | None
    sure: date | None

    @property
    def hand(self) -> int | None:
        return (self.day - self.eight).days if self.eight else None

    @property
    def lacking(self) -> int:
        """Days by which the date is missed 2 times in 10 or more; 0 where it is not."""
        return max(0, -(self.hand or 0))


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
    past_readiness: list[list[tuple[date, float]]]
    counts: list[dict[str, Any]]
    past_counts: list[list[dict[str, Any]]]
    actual: list[tuple[date, int]]
    all_counted: int
    buffers: list[Buffer]
    people: list[dict[str, Any]]
    objects: list[tuple[Object, float]]

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
    """The newest finished forecast with everything that its page draws. Eight queries."""
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
        past_readiness=[_curve(p) for p in past[:-1] if p.curve],
        counts=_counts(row, highs=True),
        past_counts=[_counts(p) for p in past[:-1] if p.counts],
        actual=_actual(row, past[0].as_of if past else row.as_of),
        all_counted=row.done + int(row.assumptions.get("with_work", 0)),
        buffers=_buffers(row),
        people=[one for one in row.critical.get("people", []) if one["late"] > 0],
        objects=_deciding(row),
    )


def _curve(row: Forecast) -> list[tuple[date, float]]:
    return [(date.fromisoformat(day), chance) for day, chance in row.curve]


def _counts(row: Forecast, *, highs: bool = False) -> list[dict[str, Any]]:
    """Objects ready week by week, as one forecast saw it; those that were done then count in every week."""
    made = []
    for day, low, middle, high in row.counts:
        outer = {"low": low + row.done, "high": high + row.done} if highs else {}
        made.append({"date": date.fromisoformat(day), "middle": middle + row.done, **outer})
    return made


def _actual(row: Forecast, first: date) -> list[tuple[date, int]]:
    """Objects of the checklist whose treatment was finished, from the first forecast to this one. One query."""
    listed = row.exhibition.entries.filter(removed_at=None).values("object")
    rows = Treatment.objects.filter(exhibition=row.exhibition, finished_on__isnull=False, object__in=listed)
    ends: dict[Any, date] = {}
    for pk, day in rows.order_by("-finished_on").values_list("object_id", "finished_on"):
        if day:
            ends[pk] = day  # the first finished treatment makes it ready
    days = sorted({first, row.as_of, *(day for day in ends.values() if first < day <= row.as_of)})
    return [(day, sum(end <= day for end in ends.values())) for day in days]


def _buffers(row: Forecast) -> list[Buffer]:
    def known(text: str | None) -> date | None:
        return date.fromisoformat(text) if text else None

    return [
        Buffer(
            str(MilestoneKind(one["kind"]).label), date.fromisoformat(one["date"]), known(one["50"]), known(one["80"]),
            known(one["95"]),
        )
        for one in row.buffers
    ]  # fmt: skip


def _deciding(row: Forecast) -> list[tuple[Object, float]]:
    """Objects that most often are the last to be ready, with how often. One query."""
    shares = {UUID(one["object"]): one["last"] for one in row.critical.get("objects", [])}
    things = Object.objects.only("number", "simple_name").in_bulk(list(shares))
    return [(things[pk], share) for pk, share in shares.items() if pk in things]


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
