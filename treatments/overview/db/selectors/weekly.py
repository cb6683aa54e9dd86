"""The week on one page, for curators and the head of conservation."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.db.models import Max, Q, Sum
from django.utils import timezone

from survey.condition.db import selectors as condition
from survey.register.db.models import ChecklistEntry, Exhibition
from survey.register.db.selectors import current_exhibition
from survey.register.db.selectors.exhibitions import milestone_lines
from survey.risk.db.models import Band, ObjectRisk
from survey.risk.db.selectors import latest_run
from treatments.forecast.db.models import Forecast
from treatments.forecast.db.selectors import ShownForecast, shown_forecast
from treatments.hours.db.models import RunningClock, Treatment
from treatments.hours.db.selectors import ObjectPlan, forgotten, object_plans
from treatments.options.suggesting import HANDS_OFF

WEEK = timedelta(days=7)
FEW = 12


@dataclass(frozen=True)
class SectionLine:
    """One section of the exhibition: how many objects are ready, in hand, not begun."""

    name: str
    ready: int
    in_hand: int
    not_begun: int

    @property
    def all(self) -> int:
        return self.ready + self.in_hand + self.not_begun


@dataclass(frozen=True)
class InHand:
    """A treatment that goes on: hours so far of those expected, and the day it was last worked on."""

    row: Treatment
    level: str
    hours: float
    expected: float
    last: date | None


@dataclass(frozen=True)
class WeeklySheet:
    """Everything on the sheet. ``before`` is the chance on opening day as forecast a week ago or earlier."""

    exhibition: Exhibition | None
    day: date
    milestones: list[tuple[str, date, int]]
    forecast: ShownForecast | None
    before: tuple[date, float] | None
    sections: list[SectionLine]
    total: SectionLine
    finished: list[tuple[ChecklistEntry, Treatment]]
    in_hand: list[InHand]
    in_hand_more: int
    undecided: int
    restricted: list[ChecklistEntry]
    unseen: int
    do_not_lift: int
    forgotten: list[RunningClock]

    @property
    def change(self) -> int | None:
        """Points of per cent by which the chance rose in the week; negative for a fall."""
        if self.before is None or self.forecast is None or self.forecast.at_opening is None:
            return None
        return round(100 * self.forecast.at_opening) - round(100 * self.before[1])

    @property
    def fallen(self) -> int:
        return -(self.change or 0)

    @property
    def nothing_to_decide(self) -> bool:
        notes = self.forecast.row.notes if self.forecast else []
        return not (self.undecided or self.restricted or self.unseen or self.forgotten or notes)


def weekly_sheet(day: date) -> WeeklySheet:
    """What stands on the sheet, in a fixed number of queries."""
    exhibition = current_exhibition(day)
    if exhibition is None:
        nothing = SectionLine("", 0, 0, 0)
        return WeeklySheet(None, day, [], None, None, [], nothing, [], [], 0, 0, [], 0, 0, [])
    entries = list(
        exhibition.entries.filter(removed_at=None).select_related("object").order_by("section", "object__number_key")
    )
    plans, forecast = object_plans(exhibition), shown_forecast(exhibition)
    by_object = {entry.object_id: entry for entry in entries}
    ended = Treatment.objects.filter(exhibition=exhibition, finished_on__isnull=False, object__in=list(by_object))
    finished = {row.object_id: row for row in ended.order_by("finished_on")}
    going = _in_hand(list(by_object), plans)
    states = {pk: _state(plans.get(pk), pk in finished, pk in {one.row.object_id for one in going}) for pk in by_object}
    sections = _sections(entries, states)
    undecided = [e for e in entries if (p := plans.get(e.object_id)) and not p.chosen and p.level not in HANDS_OFF]
    run = latest_run()
    lift = ObjectRisk.objects.filter(run=run, band=Band.DO_NOT_LIFT, object__in=list(by_object))
    seen = set(condition.standing().filter(object__in=list(by_object)).values_list("object_id", flat=True))
    clocks = RunningClock.objects.select_related("worker", "object").order_by("started_at")
    total = Counter(states.values())
    return WeeklySheet(
        exhibition=exhibition, day=day, milestones=milestone_lines(exhibition, today=day), forecast=forecast,
        before=_before(forecast.row, day) if forecast else None, sections=sections,
        total=SectionLine("All", total["ready"], total["in_hand"], total["not_begun"]),
        finished=[(by_object[row.object_id], row) for row in ended.filter(finished_on__gt=day - WEEK)],
        in_hand=going[:FEW], in_hand_more=max(0, len(going) - FEW),
        undecided=len([e for e in undecided if not e.object.restriction]),
        restricted=[e for e in undecided if e.object.restriction], unseen=len(by_object.keys() - seen),
        do_not_lift=lift.count(), forgotten=[clock for clock in clocks if forgotten(clock, timezone.now())],
    )  # fmt: skip


def _state(plan: ObjectPlan | None, finished: bool, begun: bool) -> str:
    """Ready where the treatment is finished or the level asks for no work at the bench."""
    if begun:
        return "in_hand"
    return "ready" if finished or plan is None or not plan.counts.steps else "not_begun"


def _sections(entries: list[ChecklistEntry], states: dict[UUID, str]) -> list[SectionLine]:
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for entry in entries:
        counts[entry.section][states[entry.object_id]] += 1
    return [
        SectionLine(name, found["ready"], found["in_hand"], found["not_begun"])
        for name, found in sorted(counts.items())
    ]


def _in_hand(objects: list[UUID], plans: dict[UUID, ObjectPlan]) -> list[InHand]:
    """Treatments of the checklist that go on, the longest untouched first. One query."""
    standing = Q(logged__corrected_by=None, logged__taken_out_at=None)
    rows = Treatment.objects.filter(object__in=objects, finished_on=None, began_on__isnull=False)
    rows = rows.select_related("object").annotate(
        hours=Sum("logged__hours", filter=standing), last=Max("logged__on", filter=standing)
    )
    made = [
        InHand(
            row, plans[row.object_id].counts.level.name, row.hours or 0.0, plans[row.object_id].counts.hours.likely,
            row.last,
        )
        for row in rows
        if row.object_id in plans
    ]  # fmt: skip
    return sorted(made, key=lambda one: (one.last or date.min, one.row.object.number_key))


def _before(row: Forecast, day: date) -> tuple[date, float] | None:
    """The last forecast that is at least a week old, and its chance on opening day. One query."""
    earlier = Forecast.objects.filter(
        exhibition=row.exhibition, finished_at__isnull=False, as_of__lte=day - WEEK
    )  # fmt: skip
    found = earlier.order_by("-as_of", "-finished_at").only("as_of", "chances").first()
    return (found.as_of, found.chances["opening"]) if found and "opening" in found.chances else None
