"""Arranging by hand: where sittings clash, what must follow one that is moved, and where it would fit."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

from treatments.planning.calendar import Shift

RESOURCES = ("hood", "bench")
NEVER = 1 << 40


@dataclass(frozen=True)
class Placed:
    """One sitting. ``start``, ``q``, ``cure``, ``limit`` in quarter-hours; ``person`` empty: nobody any more.

    ``turn`` orders the sittings of one object, each after the one before and its cure. ``limit`` is the last quarter
    by which it must be over and set. ``begun`` sittings lie in the past: they bind others and clash with nothing.
    """

    key: int
    thing: str
    turn: str
    person: str
    start: int
    q: int
    cure: int
    skill: str
    resource: str | None
    limit: int
    begun: bool = False

    @property
    def end(self) -> int:
        return self.start + self.q

    @property
    def set(self) -> int:
        return self.end + self.cure


@dataclass(frozen=True)
class Hands:
    """Somebody at the bench: what they can do and when they are there."""

    id: str
    skills: frozenset[str]
    shifts: Sequence[Shift]


@dataclass(frozen=True, order=True)
class Clash:
    """Why a sitting cannot be where it is.

    ``kind``: nobody, skill, shift, double (with ``other``), order (begins before ``other`` is over and set), place (its
    hood or bench is taken), late, past.
    """

    key: int
    kind: str
    other: int = 0


@dataclass(frozen=True)
class Room:
    """Everybody at the bench, and how many hoods and photography benches there are."""

    team: Mapping[str, Hands]
    capacity: Mapping[str, int]
    now: int = 0


def clashes(placed: Sequence[Placed], room: Room) -> set[Clash]:
    """Every clash among sittings that are still to come."""
    found = {Clash(one.key, kind) for one in placed if not one.begun for kind in _alone(one, room)}
    found |= set(_double(placed)) | set(_out_of_order(placed))
    for resource in RESOURCES:
        wanting = [one for one in placed if one.resource == resource and not one.begun]
        found |= set(_crowded(wanting, room.capacity.get(resource, 0)))
    return found


def _alone(one: Placed, room: Room) -> Iterable[str]:
    """What is wrong with a sitting whatever lies beside it."""
    if one.start < room.now:
        yield "past"
    if one.set > one.limit:
        yield "late"
    person = room.team.get(one.person)
    if person is None:
        yield "nobody"
        return
    if one.skill and one.skill not in person.skills:
        yield "skill"
    if not _inside(person.shifts, one.start, one.end):
        yield "shift"


def _inside(shifts: Sequence[Shift], start: int, end: int) -> bool:
    at = bisect_right(shifts, start, key=lambda shift: shift[0]) - 1
    return at >= 0 and end <= shifts[at][1]


def _double(placed: Sequence[Placed]) -> Iterable[Clash]:
    """Both of any two sittings of one person that overlap."""
    for own in _by(placed, "person").values():
        own.sort(key=attrgetter("start", "end", "key"))
        for n, one in enumerate(own):
            for other in own[n + 1 :]:
                if other.start >= one.end:
                    break
                if one.person and not (one.begun and other.begun):
                    yield from (Clash(one.key, "double", other.key), Clash(other.key, "double", one.key))


def _out_of_order(placed: Sequence[Placed]) -> Iterable[Clash]:
    for own in _by(placed, "thing").values():
        own.sort(key=attrgetter("turn"))
        ready, last = -NEVER, 0
        for one in own:
            if one.start < ready and not one.begun:
                yield Clash(one.key, "order", last)
            if one.set >= ready:
                ready, last = one.set, one.key


def _crowded(wanting: Sequence[Placed], capacity: int) -> Iterable[Clash]:
    """Who comes to a hood or bench when all are taken by those who came before."""
    there: list[Placed] = []
    for one in sorted(wanting, key=attrgetter("start", "key")):
        there = [other for other in there if other.end > one.start]
        if len(there) >= capacity:
            yield Clash(one.key, "place", there[-1].key if there else 0)
        there.append(one)


def _by(placed: Iterable[Placed], name: str) -> dict[str, list[Placed]]:
    found: dict[str, list[Placed]] = defaultdict(list)
    for one in placed:
        found[getattr(one, name)].append(one)
    return found


def moved(placed: Sequence[Placed], room: Room, key: int, *, person: str, start: int, carry: bool) -> list[Placed]:
    """The sittings with one of them given to a person at a time.

    ``carry`` takes along what follows it on the same object and would begin too early: each goes to the earliest free
    time of its own person, else of anybody who has the skill; what finds none stays where it is, and clashes.

    Raises
    ------
    KeyError
        No such sitting.
    """
    table = {one.key: one for one in placed}
    first = table[key] = replace(table[key], person=person, start=start)
    if carry:
        ready = first.set
        for one in sorted(_by(table.values(), "thing")[first.thing], key=attrgetter("turn")):
            if one.turn <= first.turn or one.begun:
                continue
            if one.start < ready:
                table[one.key] = one = _later(table, room, one, ready)
            ready = max(ready, one.set)
    return list(table.values())


def _later(table: Mapping[int, Placed], room: Room, one: Placed, since: int) -> Placed:
    others = [other for other in table.values() if other.key != one.key]
    own = room.team.get(one.person)
    able = [person for person in room.team.values() if one.skill in person.skills]
    for people in ([own] if own else [], able):
        found = [(earliest(others, room, one, person, since), person.id) for person in people]
        if found and min(found)[0] < NEVER:
            start, person_id = min(found)
            return replace(one, person=person_id, start=start)
    return one


def earliest(others: Sequence[Placed], room: Room, one: Placed, person: Hands, since: int) -> int:
    """The first time from ``since`` on at which a person is free for a sitting and its hood or bench too; else NEVER.

    Dates, skill and the order of the object's sittings are the caller's to look at.
    """
    busy = sorted((other.start, other.end) for other in others if other.person == person.id and other.end > since)
    places = [o for o in others if one.resource and o.resource == one.resource and o.end > since]
    capacity = room.capacity.get(one.resource or "", 0)
    if one.resource and not capacity:
        return NEVER
    for begin, end in person.shifts:
        at = max(begin, since)
        while at + one.q <= end:
            step = _next_free(busy, places, capacity, at, one.q)
            if step == at:
                return at
            at = step
    return NEVER


def _next_free(busy: Sequence[Shift], places: Sequence[Placed], capacity: int, at: int, q: int) -> int:
    """``at`` if nothing is in the way from there on for ``q`` quarters, else the next time worth trying."""
    for begin, end in busy:
        if begin < at + q and end > at:
            return end
    if not places:
        return at
    in_way = [one for one in places if one.start < at + q and one.end > at]
    for moment in (at, *(one.start for one in in_way if one.start > at)):
        there = [one.end for one in in_way if one.start <= moment < one.end]
        if len(there) >= capacity:
            return max(at + 1, min(there))
    return at


def free_places(
    placed: Sequence[Placed], room: Room, key: int, *, since: int, carry: bool = False, at_most: int = 6
) -> list[Placed]:
    """Where a sitting would fit without a clash from a time on: for each who has the skill the two first, by time.

    ``carry`` looks past what follows on the object, for moves that take it along; that may then find no time.
    """
    table = {one.key: one for one in placed}
    one = table[key]
    others = [other for other in placed if other.key != key]
    own = sorted((other for other in others if other.thing == one.thing), key=attrgetter("turn"))
    ready = max([room.now, since, *(other.set for other in own if other.turn < one.turn)])
    after = min((other.start for other in own if other.turn > one.turn), default=NEVER)
    last = one.limit if carry else min(one.limit, after)
    found: list[Placed] = []
    for person in room.team.values():
        if one.skill and one.skill not in person.skills:
            continue
        at = ready
        for _ in range(2):
            at = earliest(others, room, one, person, at)
            there = replace(one, person=person.id, start=at)
            if at == NEVER or there.set > last:
                break
            if (there.person, there.start) != (one.person, one.start):
                found.append(there)
            at += one.q
    return sorted(found, key=attrgetter("start", "person"))[:at_most]


def swapped(placed: Sequence[Placed], first: int, second: int) -> list[Placed]:
    """Two sittings that change places: each goes to the other's person and time.

    Of one person, the earlier begins where the later would, so that the two keep the span that they had and do not run
    into each other, however long each is.

    Raises
    ------
    ValueError
        One sitting with itself.
    """
    if first == second:
        raise ValueError("first and second must be two sittings")
    table = {one.key: one for one in placed}
    one, other = sorted((table[first], table[second]), key=attrgetter("start", "key"))
    later = max(one.end, other.end) - one.q if one.person == other.person else other.start
    table[one.key] = replace(one, person=other.person, start=later)
    table[other.key] = replace(other, person=one.person, start=one.start)
    return list(table.values())
