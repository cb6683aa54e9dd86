"""Clashes by hand against the independent checker of plans; what moves along, what fits, what changes places."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from tests.reference.plan_checker import check
from treatments.planning.byhand import (
    NEVER,
    Clash,
    Hands,
    Placed,
    Room,
    clashes,
    earliest,
    free_places,
    moved,
    swapped,
)

DAY = 96
SHIFTS = [(36 + DAY * day, 60 + DAY * day) for day in range(5)]  # 9:00 to 15:00
ROOM = Room(
    {
        "ann": Hands("ann", frozenset({"join", "fill"}), SHIFTS),
        "bob": Hands("bob", frozenset({"fill"}), SHIFTS),
        "eva": Hands("eva", frozenset({"join", "fill"}), SHIFTS[2:]),
    },
    {"hood": 1, "bench": 1},
)


def sitting(key: int, start: int, *, person="ann", thing="pot", q=4, cure=0, skill="fill", **fields) -> Placed:
    return Placed(
        key, thing, f"{key:02d}-x", person, start, q, cure, skill, **{"resource": None, "limit": 480} | fields
    )


def as_instance(placed: list[Placed], room: Room) -> tuple[dict, dict]:
    """The arrangement in the terms of the checker."""
    things: dict[str, list[Placed]] = {}
    for one in sorted(placed, key=lambda one: one.turn):
        things.setdefault(one.thing, []).append(one)
    objects = [
        {
            "id": name, "mandatory": False, "release": room.now, "photo_by": own[0].limit, "mount_by": own[0].limit,
            "close_by": own[0].limit,
            "levels": [{"benefit": 1, "steps": [
                {"id": one.turn, "kind": "x", "skill": one.skill, "resource": one.resource, "q": one.q,
                 "cure": one.cure, "preds": [other.turn for other in own if other.turn < one.turn]}
                for one in own
            ]}],
        }
        for name, own in things.items()
    ]  # fmt: skip
    staff = [
        {"id": p.id, "skills": sorted(p.skills), "shifts": [list(s) for s in p.shifts]} for p in room.team.values()
    ]
    plan = {"levels": dict.fromkeys(things, 0), "steps": [(o.thing, o.turn, o.person, o.start) for o in placed]}
    return {"staff": staff, "objects": objects, "hoods": 1, "benches": 1}, plan


def any_sittings(draw: Random) -> list[Placed]:
    """Sittings that mostly fit; now and then one that does not."""
    placed: list[Placed] = []
    for key in range(draw.randint(1, 10)):
        person = ROOM.team[draw.choice(list(ROOM.team))]
        skill = draw.choice(sorted(person.skills)) if draw.random() < 0.95 else draw.choice(["join", "fill"])
        one = sitting(
            key, draw.randint(30, 300), person=person.id, thing=draw.choice("abcd"), q=draw.randint(1, 12),
            cure=draw.choice([0, 0, 20]), skill=skill, resource=draw.choice([None, None, "hood", "bench"]),
        )  # fmt: skip
        ready = max([0, *(o.set for o in placed if o.thing == one.thing)])
        free = earliest(placed, ROOM, one, person, ready)
        placed.append(replace(one, start=free) if free < NEVER and draw.random() < 0.9 else one)
    return placed


def test_an_arrangement_has_clashes_exactly_where_the_checker_finds_errors():
    agreed = [0, 0]
    for seed in range(1_500):
        placed = any_sittings(Random(seed))
        errors = check(*as_instance(placed, ROOM))[0]
        assert bool(clashes(placed, ROOM)) == bool(errors), (seed, errors, clashes(placed, ROOM))
        agreed[bool(errors)] += 1
    assert min(agreed) > 200  # both kinds were met


def test_the_sitting_of_each_kind_of_clash_is_named():
    fits = [sitting(1, 36, cure=8), sitting(2, 48), sitting(3, 36, person="bob", thing="jar")]
    assert clashes(fits, ROOM) == set()
    first, second, third = fits

    def found(*placed: Placed, room: Room = ROOM) -> set[Clash]:
        return clashes(placed, room)

    assert found(first, replace(second, start=47)) == {Clash(2, "order", 1)}
    assert found(first, second, replace(third, person="ann", start=38)) == {
        Clash(1, "double", 3), Clash(3, "double", 1)
    }  # fmt: skip
    assert found(replace(third, skill="join")) == {Clash(3, "skill")}
    assert found(replace(third, start=58)) == {Clash(3, "shift")}
    assert found(replace(third, person="")) == {Clash(3, "nobody")}
    assert found(replace(third, limit=39)) == {Clash(3, "late")}
    assert found(third, room=replace(ROOM, now=40)) == {Clash(3, "past")}
    assert found(replace(first, resource="hood"), replace(third, start=38, resource="hood")) == {Clash(3, "place", 1)}
    assert found(replace(third, resource="hood"), room=replace(ROOM, capacity={})) == {Clash(3, "place")}


def test_what_lies_in_the_past_binds_and_does_not_clash():
    past = [sitting(1, 10, begun=True, person=""), sitting(2, 11, begun=True, person="")]
    assert clashes([*past, sitting(3, 36)], ROOM) == set()
    assert clashes([*past, sitting(3, 36), sitting(4, 38)], ROOM) >= {Clash(4, "order", 3)}
    assert Clash(3, "order", 2) in clashes([past[0], replace(past[1], cure=60), sitting(3, 36)], ROOM)


def test_later_sittings_go_along_to_the_next_free_time_of_their_own_person():
    placed = [sitting(1, 36, cure=8), sitting(2, 48), sitting(3, 52), sitting(4, 48 + DAY, thing="jar")]
    after = {one.key: one for one in moved(placed, ROOM, 1, person="ann", start=DAY + 36, carry=True)}
    assert after[1].start == DAY + 36
    assert after[2].start == DAY + 52 and after[3].start == DAY + 56  # the jar has 48 to 52
    assert clashes(list(after.values()), ROOM) == set()
    alone = moved(placed, ROOM, 1, person="ann", start=DAY + 36, carry=False)
    assert clashes(alone, ROOM) == {Clash(2, "order", 1), Clash(3, "order", 1)}


def test_what_moves_along_goes_to_somebody_else_only_where_its_own_person_has_no_time():
    room = replace(ROOM, team=ROOM.team | {"ann": Hands("ann", frozenset({"join"}), SHIFTS[:1])})
    placed = [sitting(1, 36, skill="join"), sitting(2, 40, skill="join")]
    after = {one.key: one for one in moved(placed, room, 1, person="eva", start=2 * DAY + 36, carry=True)}
    assert after[2].person == "eva" and after[2].start == 2 * DAY + 40


def test_what_finds_no_time_stays_and_clashes():
    late = sitting(2, 40, q=30)  # longer than any shift
    after = moved([sitting(1, 36), late], ROOM, 1, person="ann", start=50, carry=True)
    assert late in after and Clash(2, "order", 1) in clashes(after, ROOM)


def test_free_places_clash_with_nothing_and_there_is_none_earlier():
    placed = [sitting(1, 36, cure=8), sitting(2, 48), sitting(3, 36, person="bob", thing="jar"), sitting(4, DAY + 36)]
    places = free_places(placed, ROOM, 2, since=0)
    assert places
    for place in places:
        assert clashes([place if one.key == 2 else one for one in placed], ROOM) == set()
    first = min(place.start for place in places if place.person == "bob")
    for start in range(36, first):
        tried = replace(placed[1], person="bob", start=start)
        assert clashes([tried if one.key == 2 else one for one in placed], ROOM)


def test_a_sitting_that_fits_nowhere_has_no_free_places():
    assert free_places([sitting(1, 36, q=25)], ROOM, 1, since=0) == []
    assert free_places([sitting(1, 36, limit=30)], ROOM, 1, since=0) == []


def test_two_people_change_places_and_two_sittings_of_one_person_keep_their_span():
    one, other = sitting(1, 36, q=2), sitting(2, 44, q=6, person="bob", thing="jar")
    after = {s.key: s for s in swapped([one, other], 2, 1)}
    assert (after[1].person, after[1].start, after[2].person, after[2].start) == ("bob", 44, "ann", 36)
    near = [one, replace(other, person="ann", start=38)]
    after = {s.key: s for s in swapped(near, 1, 2)}
    assert (after[2].start, after[2].end, after[1].start, after[1].end) == (36, 42, 42, 44)
    with pytest.raises(ValueError, match="two sittings"):
        swapped(near, 1, 1)
