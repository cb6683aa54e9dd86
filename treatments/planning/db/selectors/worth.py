"""Benefit against hours for the checklist, with today's hours marked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from media.base.drawing import Scale, Tick, nice_ticks
from media.base.errors import FettleError
from survey.register.db.models import Exhibition
from treatments.options.db.selectors import table_in_use
from treatments.planning.calendar import end_of_day
from treatments.planning.db.selectors.offers import offer
from treatments.planning.db.selectors.staff import bench_hours
from treatments.planning.db.selectors.work import gather_work
from treatments.planning.worth import Worth, worth_of_hours

FEW = 12
TABLE_POINTS = 10


@dataclass(frozen=True)
class WorthPlot:
    """The curve in per cent of its box, today's hours, and the levels that count now."""

    line: str
    budget: Tick
    budget_y: float | None
    now: tuple[float, float]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


@dataclass(frozen=True)
class ShownWorth:
    """Everything that the page shows; ``refusal`` says in words why there is no curve."""

    exhibition: Exhibition | None
    worth: Worth | None = None
    plot: WorthPlot | None = None
    rows: tuple[tuple[float, float], ...] = ()
    changes: tuple[tuple[str, str, str, str], ...] = ()
    more: int = 0
    withheld: int = 0
    next_day: float | None = None
    refusal: str = ""


def shown_worth(exhibition: Exhibition | None, at: datetime) -> ShownWorth:
    """The curve for an exhibition as things stand. About thirty queries, however many objects."""
    if exhibition is None:
        return ShownWorth(None, refusal="There is no exhibition to reckon for. Add one with its dates and a checklist.")
    try:
        work = gather_work(exhibition, timezone.localtime(at).replace(tzinfo=None))
    except FettleError as error:
        return ShownWorth(exhibition, refusal=error.message)
    made = offer(work, mandatory_weeks=0, other_weeks=0)
    hours = bench_hours(work.department, end_of_day(work.milestones["opening"], work.monday))
    current = {str(pk): plan.level for pk, plan in work.plans.items()}
    try:
        worth = worth_of_hours(made.instance["objects"], hours, current)
    except ValueError:
        return ShownWorth(exhibition, refusal="These are too many hours to weigh exactly. Check what was measured.")
    if worth is None:
        return ShownWorth(exhibition, refusal="No object on the checklist has work to choose from.")
    names = {level.code: level.name for level in table_in_use().levels}
    changes = sorted(
        (made.numbers[pk], pk, names.get(was, was), names.get(to, to) if to else "Nothing is done")
        for pk, (was, to) in worth.changes.items()
    )
    steps = [worth.least + (worth.most - worth.least) * n / TABLE_POINTS for n in range(TABLE_POINTS + 1)]
    here, later = worth.after(hours), worth.after(hours + 40)
    return ShownWorth(
        exhibition, worth, _plot(worth), tuple((step, worth.after(step) or 0.0) for step in steps),
        tuple(changes[:FEW]), max(0, len(changes) - FEW), len(made.withheld),
        later - here if here is not None and later is not None else None,
    )  # fmt: skip


def _plot(worth: Worth) -> WorthPlot:
    top = max(worth.most, worth.budget, worth.now.hours, 1.0)
    marks = nice_ticks(0, top, most=6)
    x, y = Scale(0, max(marks[-1], top)), Scale(0, 1, 100, 0)
    places = [(x.at(point.hours), y.at(point.share)) for point in worth.curve]
    here = worth.after(worth.budget)
    return WorthPlot(
        line="M" + "L".join(f"{left:g} {high:g}" for left, high in places),
        budget=Tick(x.at(worth.budget), f"{_hours(worth.budget)} there are"),
        budget_y=None if here is None else y.at(here),
        now=(x.at(worth.now.hours), y.at(worth.now.share)),
        across=tuple(
            Tick(x.at(m), f"{m:,.0f} h".replace(",", "\N{NO-BREAK SPACE}"), n % 2 == 1) for n, m in enumerate(marks)
        ),
        up=tuple(Tick(y.at(share / 4), f"{25 * share} %") for share in range(5)),
    )


def _hours(value: float) -> str:
    return f"{value:,.0f} h".replace(",", "\N{NO-BREAK SPACE}")
