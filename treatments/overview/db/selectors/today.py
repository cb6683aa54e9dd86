"""The first page: what needs this person today."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Count, Min, Q, QuerySet, Sum
from django.utils import timezone

from media.base.models import Role, User
from survey.condition.db import selectors as condition
from survey.condition.db.models import Assessment
from survey.condition.db.selectors.walking import unfinished_of
from survey.register.db.models import ChecklistEntry, Exhibition, MilestoneKind, Object
from survey.register.db.selectors import current_exhibition, milestones_of
from survey.risk.db.models import Band, ObjectRisk, RiskRun
from survey.risk.db.selectors import latest_run
from treatments.forecast.db.models import ObjectForecast
from treatments.forecast.db.selectors import ShownForecast, shown_forecast
from treatments.hours.db.models import Treatment
from treatments.options.db.models import ChosenLevel

FEW = 6
WEEK = timedelta(days=7)
# Sections for each role: what comes first, and what stands beside it (below it where there is no room).
SECTIONS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    Role.READER: (("ready", "lift"), ("dates", "week")),
    Role.SURVEYOR: (("unfinished", "shelves"), ("lift", "dates")),
    Role.CONSERVATOR: (("bench", "levels"), ("unfinished", "lift", "late", "dates")),
    Role.HEAD: (("ready", "decisions", "late"), ("dates", "lift", "week")),
}


@dataclass(frozen=True)
class Shelf:
    """A place on which objects of the checklist wait to be looked at; ``pk`` none where the place is not known."""

    pk: Any
    name: str
    objects: int
    need_by: date | None


@dataclass(frozen=True)
class Today:
    """What the first page shows, and in which order this person needs it."""

    role: str
    first: tuple[str, ...]
    beside: tuple[str, ...]
    exhibition: Exhibition | None
    milestones: list[tuple[str, date, int]]
    run: RiskRun | None
    forecast: ShownForecast | None
    objects: int
    on_checklist: int
    do_not_lift: int
    worst: list[ObjectRisk]
    unseen: int
    shelves: list[Shelf]
    shelves_left: int
    unfinished: list[Assessment]
    bench: list[Treatment]
    undecided: int
    undecided_first: list[ObjectRisk]
    restricted: int
    late: list[ObjectForecast]
    week: dict[str, int]

    @property
    def empty(self) -> bool:
        return self.objects == 0


def today(user: User, day: date) -> Today:
    """Everything the first page shows, in a fixed number of queries."""
    role = Role.HEAD if user.is_superuser else user.role
    exhibition, run = current_exhibition(day), latest_run()
    forecast = shown_forecast(exhibition)
    entries = ChecklistEntry.objects.filter(exhibition=exhibition, removed_at=None)
    unseen = entries.exclude(object__in=condition.standing().values("object"))
    lift = ObjectRisk.objects.filter(run=run, band=Band.DO_NOT_LIFT)
    undecided = _undecided(run, exhibition, entries)
    shelves = _shelves(unseen)
    bench = _bench()
    first, beside = SECTIONS[role]
    if not bench:  # an empty bench does not come before what waits
        first = tuple(sorted(first, key="bench".__eq__))
    return Today(
        role=role,
        first=first,
        beside=beside,
        exhibition=exhibition,
        milestones=_milestones(exhibition, day) if exhibition else [],
        run=run,
        forecast=forecast,
        objects=Object.objects.filter(withdrawn_at=None).count(),
        on_checklist=entries.count(),
        do_not_lift=lift.count(),
        worst=list(lift.select_related("object__place").defer("magnitude").order_by("rank_by_weighted")[:FEW]),
        unseen=sum(shelf.objects for shelf in shelves),
        shelves=shelves[:FEW],
        shelves_left=len(shelves),
        unfinished=unfinished_of(user)[:FEW],
        bench=bench,
        undecided=undecided.count(),
        undecided_first=list(undecided.select_related("object").order_by("rank_by_weighted")[:FEW]),
        restricted=undecided.exclude(object__restriction="").count(),
        late=_late(forecast),
        week=_week(day),
    )


def _milestones(exhibition: Exhibition, day: date) -> list[tuple[str, date, int]]:
    """Word, date and days from today of each milestone up to opening day."""
    found = milestones_of(exhibition)
    kept = [(kind, when) for kind, when in found.items() if kind != MilestoneKind.END]
    return [(str(MilestoneKind(kind).label), when, (when - day).days) for kind, when in kept]


def _undecided(
    run: RiskRun | None, exhibition: Exhibition | None, entries: QuerySet[ChecklistEntry]
) -> QuerySet[ObjectRisk]:
    """Scored objects of the checklist, all with old joints, for which nobody has chosen a level."""
    chosen = ChosenLevel.objects.filter(exhibition=exhibition, replaced_at=None)
    scored = ObjectRisk.objects.filter(run=run, joints__gt=0, object__in=entries.values("object")).defer(
        "magnitude", "warnings"
    )
    return scored.exclude(object__in=chosen.values("object"))


def _shelves(unseen: QuerySet[ChecklistEntry]) -> list[Shelf]:
    """Where the objects stand that nobody has looked at, in walking order; one query."""
    where = ("object__place", "object__place__full_name", "object__place__path")
    rows = unseen.order_by().values(*where).annotate(count=Count("pk"), due=Min("need_by"))
    made = [
        (row["object__place__path"] or "", Shelf(row["object__place"], row[where[1]] or "", row["count"], row["due"]))
        for row in rows
    ]
    return [shelf for path, shelf in sorted(made, key=lambda each: (each[0] == "", each[0]))]


def _bench() -> list[Treatment]:
    """Treatments begun and not finished, with the hours logged so far; the latest begun first."""
    begun = Treatment.objects.filter(began_on__isnull=False, finished_on=None).select_related("object")
    hours = Sum("logged__hours", filter=Q(logged__corrected_by=None, logged__taken_out_at=None))
    return list(begun.annotate(hours=hours).order_by("-began_on", "pk")[:FEW])


def _late(forecast: ShownForecast | None) -> list[ObjectForecast]:
    return [row for row in forecast.late if row.late >= 0.5][:FEW] if forecast else []


def _week(day: date) -> dict[str, int]:
    """What was done in the last seven days."""
    since = timezone.make_aware(datetime.combine(day - WEEK, time()))
    return {
        "looked": condition.standing().filter(finished_at__gte=since).count(),
        "treated": Treatment.objects.filter(finished_on__gt=day - WEEK).count(),
        "chosen": ChosenLevel.objects.filter(at__gte=since).count(),
    }
