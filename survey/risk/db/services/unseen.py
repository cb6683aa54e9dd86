"""Looks at objects that nobody has surveyed and of which no joint is on record, judged by their rooms."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from survey.register.db.models import Object
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors.light import setting_of
from survey.risk.db.selectors.peers import Room, looks_by_room, room_of, rooms, unsurveyed
from survey.risk.db.services.knowing import Known, matters_of
from survey.risk.look_next import Looks, words_unsurveyed
from survey.risk.moves import planned_moves
from survey.risk.stages import STAGES
from survey.risk.unrecorded import Peers, typical_joints, worth_of_unrecorded

STAND_INS = 60  # joints on record that stand for those of a room nobody has looked through
LIKE = 10  # where a room has fewer, joints of the whole collection stand in as well
Whole = NDArray[np.int64]


def unsurveyed_looks(run: RiskRun, known: Known | None) -> Iterator[tuple[UUID, Looks, int, str]]:
    """Each object that nobody has surveyed, with what a look at it is worth (a row of ``Looks``) and why.

    Without any joint on record there is nothing to judge by, and nothing comes. Seven queries.
    """
    names = rooms()
    waiting = unsurveyed(run.exhibition, names)
    if known is None or not waiting:
        return
    looked = looks_by_room(names)
    places = sorted({each.room for each in waiting} | looked.keys())
    here = {path: place for place, path in enumerate(places)}
    stands = _rooms_of_joints(known, names, here)
    peers = _peers(known, looked, places, stands)
    ways = sorted({(each.room, each.use) for each in waiting})
    rooms_of_ways = np.array([here[room] for room, _ in ways])
    rows, group = _stand_ins(known, rooms_of_ways, stands)
    typical = typical_joints(
        known.inputs.only(rows).changed(moves=_moves(run, [ways[place][1] for place in group])), group,
        peers.stages[rooms_of_ways], loss=known.loss[rows], assumptions=known.assumptions,
    )  # fmt: skip
    at = {way: place for place, way in enumerate(ways)}
    restored, joints = peers.restored_share()[rooms_of_ways], peers.joints_each()[rooms_of_ways]
    groups = np.array([at[each.room, each.use] for each in waiting])
    matters = matters_of([each.significance for each in waiting], [each.importance for each in waiting])
    looks = worth_of_unrecorded(restored, joints, typical, groups, matters=matters)
    for row, each in enumerate(waiting):
        if looks.worth[row] > 0:
            way = int(groups[row])
            words = words_unsurveyed(
                looks, row, room=names.get(each.room, ""), looked=int(peers.looked[here[each.room]]),
                restored=float(restored[way]), missing=each.missing,
            )  # fmt: skip
            yield each.id, looks, row, words


def _rooms_of_joints(known: Known, names: Mapping[str, str], here: Mapping[str, int]) -> Whole:
    """The place in ``here`` of the room of each joint on record, -1 where it is none of them."""
    ids = [fact.id for fact in known.facts]
    paths = dict(Object.objects.filter(withdrawn_at=None, place__isnull=False).values_list("pk", "place__path"))
    of_object = np.array([here.get(room_of(paths.get(pk), names), -1) for pk in ids], dtype=np.int64)
    return np.asarray(of_object[known.inputs.object_index])


def _peers(known: Known, looked: Mapping[str, Room], places: Sequence[str], stands: Whole) -> Peers:
    nothing = Room("")
    found = [looked.get(path, nothing) for path in places]
    seen = known.inputs.last_seen
    stages = np.zeros((len(places), len(STAGES)), dtype=np.int64)
    counted = (stands >= 0) & (seen >= 0)
    np.add.at(stages, (stands[counted], seen[counted]), 1)
    return Peers(
        looked=np.array([room.looked for room in found]),
        restored=np.array([room.restored for room in found]),
        joints=np.bincount(stands[stands >= 0], minlength=len(places)),
        stages=stages,
    )


def _stand_ins(known: Known, rooms_of_ways: Whole, stands: Whole) -> tuple[Whole, Whole]:
    """Joints on record to stand for each way: those of its room, evenly chosen, else of the whole collection."""
    rows, group = [], []
    everywhere = _evenly(np.arange(stands.size))
    for way, room in enumerate(rooms_of_ways):
        here = _evenly(np.flatnonzero(stands == room))
        taken = here if here.size >= LIKE else np.concatenate([here, everywhere])
        rows.append(taken)
        group.append(np.full(taken.size, way))
    return np.concatenate(rows), np.concatenate(group)


def _evenly(rows: Whole) -> Whole:
    """At most ``STAND_INS`` of some rows, spread over all of them."""
    if rows.size <= STAND_INS:
        return rows
    return np.asarray(rows[np.linspace(0, rows.size - 1, STAND_INS).round().astype(np.int64)])


def _moves(run: RiskRun, uses: Sequence[str]) -> NDArray[np.float64]:
    """Planned moves [j, m, k] of joints whose objects are to be used so."""
    kinds = [ahead.kind for ahead in setting_of(run).ahead]
    planned = {use: planned_moves(use, kinds) for use in set(uses)}
    return np.array([planned[use] for use in uses])
