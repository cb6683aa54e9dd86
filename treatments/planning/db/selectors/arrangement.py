"""A kept plan as it is arranged by hand: its sittings on the clock, its clashes in words, locked weeks, moves."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.utils import timezone

from survey.register.db.models import Exhibition
from survey.register.db.selectors import entry_map, milestones_of
from treatments.options.db import selectors as options
from treatments.options.steps import SKILL_WORDS
from treatments.planning.byhand import NEVER, Clash, Hands, Placed, Room, clashes
from treatments.planning.calendar import QUARTERS, WEEK, end_of_day, moment_of, monday_of, quarter_of
from treatments.planning.db.models import HandMove, LockedWeek, Plan
from treatments.planning.db.selectors.shown import span
from treatments.planning.db.selectors.staff import department
from treatments.planning.db.selectors.work import PLACES, due_day

PLACE_WORDS = {"hood": "fume hood", "bench": "photography bench"}
NOBODY = "Nobody"
AHEAD = 8  # weeks after the last of a plan into which something may be moved


@dataclass(frozen=True)
class Arranged:
    """All sittings of a plan in quarter-hours since ``monday``, and everything that words about them need."""

    plan: Plan
    monday: date
    weeks: int
    placed: list[Placed]
    room: Room
    names: dict[str, str]
    numbers: dict[int, str]
    steps: dict[int, str]
    locked: set[date]

    def one(self, key: int) -> Placed | None:
        return next((one for one in self.placed if one.key == key), None)

    def moment(self, quarter: int) -> datetime:
        return moment_of(quarter, self.monday)

    def quarter(self, local: datetime) -> int:
        return quarter_of(local, self.monday)

    def person(self, one: Placed) -> str:
        return self.names.get(one.person, NOBODY)

    def where(self, one: Placed) -> str:
        """Who has a sitting, and when."""
        starts, ends = self.moment(one.start), self.moment(one.end)
        return f"{self.person(one)}, {starts:%A %-d %B, %H:%M} to {ends:%H:%M}"

    def is_locked(self, one: Placed) -> bool:
        return monday_of(self.moment(one.start).date()) in self.locked


@dataclass(frozen=True)
class ClashLine:
    """A clash in one sentence, with the week in which its sitting lies."""

    key: int
    number: str
    words: str
    monday: date


def arranged(plan: Plan, at: datetime) -> Arranged:
    """A plan for arranging by hand. About nine queries, whatever its size."""
    monday, last = span(plan)
    weeks = (last - monday).days // 7 + 1 + AHEAD
    there = department(monday, weeks)
    now = quarter_of(timezone.localtime(at).replace(tzinfo=None), monday)
    team = {
        person.id: Hands(person.id, frozenset(person.skills), shifts)
        for person, shifts in zip(there.people, there.shifts, strict=True)
    }
    rows = list(plan.steps.values_list(
        "pk", "object_id", "object__number", "code", "name", "staff_id", "starts", "ends", "wait_until"
    ))  # fmt: skip
    steps = {step.code: step for level in options.table_in_use().levels for step in level.steps}
    kinds = {pk: getattr(steps.get(_step_code(code)), "kind", "") for pk, _, _, code, *_ in rows}
    limits = _limits(plan.exhibition, monday, [(pk, thing, code, kinds[pk]) for pk, thing, _, code, *_ in rows])
    placed = []
    for pk, thing, _, code, _, staff, starts, ends, wait in rows:
        step = steps.get(_step_code(code))
        start, end = quarter_of(_local(starts), monday), quarter_of(_local(ends), monday)
        cure = quarter_of(_local(wait), monday) - end if wait else 0
        place = PLACES.get(step.resource) if step else None
        placed.append(Placed(
            pk, str(thing), code, str(staff or ""), start, end - start, cure, step.skill if step else "", place,
            limits[pk], start < now,
        ))  # fmt: skip
    names = {person.id: name for person, name in zip(there.people, there.names, strict=True)}
    return Arranged(
        plan, monday, weeks, placed, Room(team, {"hood": there.hoods, "bench": there.benches}, now), names,
        {row[0]: row[2] for row in rows}, {row[0]: row[4] for row in rows}, locked_weeks(plan.exhibition),
    )  # fmt: skip


def _step_code(code: str) -> str:
    """``05-join-2`` is a sitting of ``join``."""
    return code.split("-")[1]


def _local(moment: datetime) -> datetime:
    return timezone.localtime(moment).replace(tzinfo=None)


def _limits(exhibition: Exhibition, monday: date, rows: Sequence[tuple[int, UUID, str, str]]) -> dict[int, int]:
    """The quarter by which each sitting must be over and set; never for what has left the checklist."""
    entries, dates, today = entry_map(exhibition), milestones_of(exhibition), timezone.localdate()
    last_photograph: dict[UUID, str] = {}
    for _, thing, code, kind in rows:
        if kind == "photograph":
            last_photograph[thing] = max(code, last_photograph.get(thing, ""))
    found = {}
    for pk, thing, code, kind in rows:
        if thing not in entries or "opening" not in dates:
            found[pk] = NEVER
            continue
        days = [due_day(entries[thing], dates)]
        if kind == "photograph" and code == last_photograph[thing] and "photography" in dates:
            days.append(dates["photography"])
        found[pk] = min(end_of_day(day if day >= today else dates["opening"], monday) for day in days)
    return found


def locked_weeks(exhibition: Exhibition) -> set[date]:
    """Mondays of the weeks in which nothing moves any more. One query."""
    return set(LockedWeek.objects.filter(exhibition=exhibition).values_list("monday", flat=True))


def held_objects(plan: Plan | None) -> set[str]:
    """Objects that planning again leaves where they are: pinned, or with a sitting in a locked week. Two queries."""
    if plan is None:
        return set()
    locked = locked_weeks(plan.exhibition)
    found = set()
    for thing, pinned, starts in plan.steps.values_list("object_id", "pinned_by_id", "starts"):
        if pinned is not None or (locked and monday_of(_local(starts).date()) in locked):
            found.add(str(thing))
    return found


def newest_move(plan: Plan) -> HandMove | None:
    """The last move by hand that is not undone. One query."""
    return plan.hand_moves.filter(undone_at=None).select_related("by").order_by("-pk").first()


def clashes_of(there: Arranged, *keys: int) -> set[Clash]:
    """Clashes of a plan as it lies: all, or those of some sittings."""
    return {clash for clash in clashes(there.placed, there.room) if not keys or clash.key in keys}


def clash_lines(there: Arranged, found: Iterable[Clash], placed: Sequence[Placed] | None = None) -> list[ClashLine]:
    """Clashes in sentences, in order of time. ``placed``: where sittings lie, where that is not as they are kept."""
    table = {one.key: one for one in (there.placed if placed is None else placed)}
    lines: list[ClashLine] = []
    said: set[tuple[int, int]] = set()
    for clash in sorted(found, key=lambda clash: (table[clash.key].start, clash)):
        if clash.kind == "double" and (clash.other, clash.key) in said:
            continue  # the same two, from the other side
        said.add((clash.key, clash.other))
        one = table[clash.key]
        words = _clash_words(there, clash.kind, one, table.get(clash.other))
        lines.append(ClashLine(one.key, there.numbers[one.key], words, monday_of(there.moment(one.start).date())))
    return lines


def _clash_words(there: Arranged, kind: str, one: Placed, other: Placed | None) -> str:
    who, what = there.person(one), f"{there.numbers[one.key]}, {there.steps[one.key]}"
    theirs = f"{there.numbers[other.key]}, {there.steps[other.key]}" if other else ""
    if kind == "double" and other:
        return f"{what}: {who} has {theirs} then, until {there.moment(other.end):%H:%M}."
    if kind == "order" and other:
        return f"{what}: {there.steps[other.key]} before it is over and set only on {_said(there, other.set)}."
    if kind == "place":
        taken = f"all are taken, the last by {theirs}" if other else "there is none"
        return f"{what}: it needs a {PLACE_WORDS[one.resource or 'hood']}, and {taken}."
    if kind == "skill":
        return f"{what}: {who} cannot {SKILL_WORDS.get(one.skill, one.skill)}."
    if kind == "late":
        day = there.moment(one.limit - 1)
        return f"{what}: it would be over and set on {_said(there, one.set)}, and must be by {day:%A %-d %B}."
    return f"{what}: {_off_duty(there, one)}" if kind == "shift" else f"{what}: {_PLAIN[kind]}"


_PLAIN = {"past": "that time is past.", "nobody": "nobody has it any more; give it to somebody."}


def _off_duty(there: Arranged, one: Placed) -> str:
    day = there.moment(one.start).date()
    first = quarter_of(day, there.monday)
    shifts = [shift for shift in there.room.team[one.person].shifts if first <= shift[0] < first + 24 * QUARTERS]
    if not shifts:
        return f"{there.person(one)} is not at the bench on {day:%A %-d %B}."
    times = " and ".join(f"{there.moment(a):%H:%M} to {there.moment(b):%H:%M}" for a, b in shifts)
    return f"{there.person(one)} is at the bench from {times} on {day:%A %-d %B}."


def _said(there: Arranged, quarter: int) -> str:
    return f"{there.moment(quarter):%A %-d %B, %H:%M}"


def changes(there: Arranged, after: Sequence[Placed]) -> list[tuple[Placed, Placed]]:
    """Sittings that lie elsewhere than they are kept: before and after, in their object's order."""
    new = {one.key: one for one in after}
    pairs = [(one, new[one.key]) for one in there.placed if new[one.key] != one]
    return sorted(pairs, key=lambda pair: (pair[0].thing, pair[0].turn))


def new_clashes(there: Arranged, after: Sequence[Placed]) -> list[ClashLine]:
    """What would clash that does not clash now."""
    return clash_lines(there, clashes(after, there.room) - clashes(there.placed, there.room), after)


def move_lines(there: Arranged, pairs: Collection[tuple[Placed, Placed]]) -> list[str]:
    """What moved from where to where, a sentence each."""
    return [
        f"{there.numbers[was.key]}, {there.steps[was.key]}: from {there.where(was)} to {there.where(now)}."
        for was, now in pairs
    ]


def last_monday(there: Arranged) -> date:
    return there.monday + timedelta(days=7 * (there.weeks - 1))


def in_reach(there: Arranged, start: int) -> bool:
    """Whether a time lies ahead, and within the weeks that can be shown."""
    return there.room.now <= start < there.weeks * WEEK
