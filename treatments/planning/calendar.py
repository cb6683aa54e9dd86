"""Dates and working weeks as quarter-hours since Monday 00:00 of week 1, and hours there are against hours needed.

Wall-clock time of the museum throughout: a day has 96 quarter-hours, also where summer time begins or ends.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import combinations

import numpy as np

QUARTERS = 4  # to the hour
DAY, WEEK = 96, 672
MOST_GROUPED_SKILLS = 12  # 4,095 groups; beyond that only single skills and all together are looked at

Shift = tuple[int, int]


@dataclass(frozen=True)
class Person:
    """Someone's usual week and what interrupts it.

    Parameters
    ----------
    week : weekday (Monday is 0) -> (start, hours), both in hours; (9.0, 7.5) is 9:00 to 16:30
    leave : (first day, last day) pairs, both away
    since, until : first and last day of employment, where they lie inside the plan
    bench_share : share of the paid time that is spent at the bench, 0 to 1; 20 to 25 of 36 paid hours is common
        practice

    Raises
    ------
    ValueError
        A weekday, time, leave or share that cannot be, with the person's id.
    """

    id: str
    skills: frozenset[str] = frozenset()
    week: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    leave: tuple[tuple[date, date], ...] = ()
    since: date | None = None
    until: date | None = None
    bench_share: float = 1.0

    def __post_init__(self) -> None:
        for weekday, (start, hours) in self.week.items():
            if weekday not in range(7):
                raise ValueError(f"week of {self.id} has a weekday {weekday}; Monday is 0, Sunday 6")
            if not (0 <= start < 24 and 0 <= hours <= 24 - start):
                raise ValueError(f"week of {self.id} must start and end within each day")
        if any(last < first for first, last in self.leave):
            raise ValueError(f"leave of {self.id} ends before it begins")
        if not 0 <= self.bench_share <= 1:
            raise ValueError(f"bench_share of {self.id} must lie between 0 and 1")

    def works_on(self, day: date, holidays: Collection[date] = ()) -> bool:
        """Whether this is one of the person's days."""
        if day in holidays or (self.since and day < self.since) or (self.until and day > self.until):
            return False
        return day.weekday() in self.week and not any(first <= day <= last for first, last in self.leave)


def monday_of(day: date) -> date:
    """The Monday of a day's week: where a plan that begins on that day counts from."""
    return date(day.year, day.month, day.day) - timedelta(days=day.weekday())


def quarter_of(moment: datetime | date, monday: date) -> int:
    """Quarter-hours from Monday 00:00 to a moment, begun quarters not counted; a date means its first minute.

    Raises
    ------
    ValueError
        A moment with a time zone: turn it into the museum's own time first.
    """
    at = moment if isinstance(moment, datetime) else datetime.combine(moment, time())
    if at.tzinfo is not None:
        raise ValueError("moment must be in local time, without a zone")
    return int((at - datetime.combine(monday, time())) // timedelta(minutes=15))


def end_of_day(day: date, monday: date) -> int:
    """What is due on a day is due by the end of it."""
    return quarter_of(day, monday) + DAY


def moment_of(quarter: int, monday: date) -> datetime:
    """The local time at which a quarter-hour begins."""
    return datetime.combine(monday, time()) + timedelta(minutes=15 * int(quarter))


def weeks_up_to(day: date, monday: date) -> int:
    """Weeks from Monday, whole or begun, up to the end of a day; at least 1."""
    return max(1, -(-end_of_day(day, monday) // WEEK))


def shifts_of(
    person: Person, monday: date, weeks: int, *, holidays: Collection[date] = (), not_before: int = 0
) -> list[Shift]:
    """Bench time of a person, as (start, end) in quarter-hours.

    Each day holds ``bench_share`` of its hours, from the start of the day on. What rounding to quarter-hours takes from
    one day the next gets, so that weeks add up.

    Parameters
    ----------
    not_before : quarter-hour before which nothing is planned any more, "now" for a plan under way
    """
    if weeks < 1:
        raise ValueError("weeks must be at least 1")
    shifts, owed = [], 0.0
    for number in range(7 * weeks):
        day = monday + timedelta(days=number)
        if not person.works_on(day, holidays):
            continue
        start, hours = person.week[day.weekday()]
        owed += hours * QUARTERS * person.bench_share
        quarters = min(int(owed + 1e-9), int(hours * QUARTERS))
        owed -= quarters
        begin = number * DAY + round(start * QUARTERS)
        first, last = max(begin, not_before), begin + quarters
        if first < last:
            shifts.append((first, last))
    return shifts


def hours_until(shifts: Iterable[Shift], quarter: int) -> float:
    """Hours of bench time before a quarter-hour."""
    return sum(max(0, min(end, quarter) - start) for start, end in shifts) / QUARTERS


@dataclass(frozen=True)
class Need:
    """Working time of one skill that must be done by a quarter-hour."""

    by: int
    skill: str
    hours: float


@dataclass(frozen=True)
class Balance:
    """Hours up to a date: there are, needed, and the group of skills that is shortest of people.

    ``short`` is how many of the hours needed within ``skills`` exceed those of everyone who has any of them; negative
    if even the tightest group has hours to spare. No plan can do better: a necessary condition, not a promise.
    """

    by: int
    available: float
    needed: float
    skills: tuple[str, ...]
    short: float


def balances(
    dates: Sequence[int], needs: Sequence[Need], staff: Sequence[tuple[Collection[str], Sequence[Shift]]]
) -> list[Balance]:
    """For each date: hours of bench time up to it, hours that must be done by it, and where it is tightest.

    Parameters
    ----------
    dates : quarter-hours
    needs : what is to be done
    staff : skills and shifts of each person

    Notes
    -----
    Over all groups of skills, hours needed within the group must not exceed hours of those who have any of them
    (Hall's condition for the assignment of hours to people, from memory).
    """
    names = sorted({need.skill for need in needs})
    groups = _groups(names)
    has_any = np.array([[bool(set(group) & set(skills)) for skills, _ in staff] for group in groups], float)
    in_group = np.array([[name in group for name in names] for group in groups], float)
    found = []
    for by in dates:
        available = np.array([hours_until(shifts, by) for _, shifts in staff])
        needed = np.array([sum(n.hours for n in needs if n.skill == name and n.by <= by) for name in names])
        if not groups:
            found.append(Balance(by, float(available.sum()), 0.0, (), -float(available.sum())))
            continue
        short = in_group @ needed - has_any.reshape(len(groups), -1) @ available
        worst = int(np.argmax(short))
        found.append(Balance(by, float(available.sum()), float(needed.sum()), groups[worst], float(short[worst])))
    return found


def _groups(names: Sequence[str]) -> list[tuple[str, ...]]:
    """Groups of skills to look at, small ones first."""
    if len(names) > MOST_GROUPED_SKILLS:
        return [*((name,) for name in names), tuple(names)]
    return [group for size in range(1, len(names) + 1) for group in combinations(names, size)]
