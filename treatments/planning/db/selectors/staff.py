"""People, benches and days off, as the planning core takes them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from treatments.options.steps import SKILL_WORDS
from treatments.planning.calendar import WEEK, Person, Shift, hours_until, shifts_of
from treatments.planning.db.models import Holiday, Leave, StaffMember, Workplace


@dataclass(frozen=True)
class Department:
    """Who works when in the weeks from ``monday``; ``shifts`` [person] hold bench time only."""

    monday: date
    weeks: int
    people: tuple[Person, ...]
    names: tuple[str, ...]
    shifts: tuple[list[Shift], ...]
    hoods: int
    benches: int

    def hours_per_week(self) -> list[float]:
        """Hours at the bench that there are in each week."""
        ends = [week * WEEK for week in range(self.weeks + 1)]
        up_to = [sum(hours_until(shifts, end) for shifts in self.shifts) for end in ends]
        return [later - earlier for earlier, later in pairwise(up_to)]

    def as_instance(self) -> dict[str, object]:
        """The staff part of a planning instance."""
        staff = [
            {"id": person.id, "skills": sorted(person.skills), "shifts": [list(shift) for shift in shifts]}
            for person, shifts in zip(self.people, self.shifts, strict=True)
        ]
        return {"weeks": self.weeks, "staff": staff, "hoods": self.hoods, "benches": self.benches}


def staff_members() -> list[StaffMember]:
    """Everybody at the bench with their leave. Two queries."""
    return list(StaffMember.objects.prefetch_related("leave").select_related("user").order_by("name"))


def holidays(first: date, last: date) -> list[Holiday]:
    return list(Holiday.objects.filter(date__range=(first, last)).order_by("date"))


def workplaces() -> dict[str, int]:
    """How many fume hoods and photography benches there are; one of each where nobody has said."""
    return {"hood": 1, "bench": 1, **dict(Workplace.objects.values_list("kind", "count"))}


def person_of(member: StaffMember) -> Person:
    """A member of staff as the calendar takes them. Raises ValueError for a week that cannot be."""
    week = {day: (float(start), float(hours)) for day, (start, hours) in enumerate(member.week) if hours > 0}
    return Person(
        id=str(member.pk),
        skills=frozenset(member.skills),
        week=week,
        leave=tuple((leave.first, leave.last) for leave in member.leave.all()),
        since=member.works_from,
        until=member.works_to,
        bench_share=member.bench_share,
    )


def department(monday: date, weeks: int, *, not_before: int = 0) -> Department:
    """Everybody's bench time in ``weeks`` from ``monday``. Four queries."""
    members = staff_members()
    people = tuple(person_of(member) for member in members)
    off = {holiday.date for holiday in holidays(monday, monday + timedelta(weeks=weeks))}
    shifts = tuple(shifts_of(person, monday, weeks, holidays=off, not_before=not_before) for person in people)
    places = workplaces()
    names = tuple(member.name for member in members)
    return Department(monday, weeks, people, names, shifts, places["hood"], places["bench"])


@dataclass(frozen=True)
class StaffLine:
    """A person as the list shows them: hours of a week without leave, skills in words, leave that is not over.

    ``here`` is false for somebody who has left or has not begun.
    """

    member: StaffMember
    paid: float
    bench: float
    skills: list[str]
    leave: list[Leave]
    here: bool


def staff_line(member: StaffMember, today: date) -> StaffLine:
    """One person of ``staff_members``; no query."""
    paid = sum(float(hours) for _, hours in member.week)
    began = member.works_from is None or member.works_from <= today
    return StaffLine(
        member,
        paid,
        paid * member.bench_share,
        [SKILL_WORDS[code] for code in member.skills if code in SKILL_WORDS],
        sorted((leave for leave in member.leave.all() if leave.last >= today), key=lambda leave: leave.first),
        began and (member.works_to is None or member.works_to >= today),
    )


def bench_hours(department_: Department, upto: int) -> float:
    """Hours at the bench before a quarter-hour."""
    return sum(hours_until(shifts, upto) for shifts in department_.shifts)


def missing_skills(department_: Department, needed: Collection[str]) -> list[str]:
    """Skills that work needs and that nobody has who is there at all in these weeks."""
    there = {
        skill
        for person, shifts in zip(department_.people, department_.shifts, strict=True)
        if shifts
        for skill in person.skills
    }
    return sorted(set(needed) - there)
