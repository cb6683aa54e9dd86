"""Putting all objects of a run in order: ranks, ties, and the chance to be among the first."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from media.base import bulk, events
from survey.risk.db.models import Band, JointRisk, ObjectDraws, ObjectRisk, RiskRun
from survey.risk.draws import among_first, tied_groups
from survey.risk.parameters import Parameters, read

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
FULL = 65_535  # a chance of 1 in a stored draw


def packed(chances: NDArray[np.float32]) -> list[bytes]:
    """Draws [n, d] as they are stored: 16 bits each keep every chance to within a hundred-thousandth."""
    return [row.tobytes() for row in np.rint(chances * FULL).astype("<u2")]


def unpacked(stored: Sequence[bytes | memoryview]) -> NDArray[np.float32]:
    """Draws [n, d] from how they are stored."""
    return (
        np.frombuffer(b"".join(bytes(each) for each in stored), dtype="<u2").reshape(len(stored), -1) / FULL
    ).astype(np.float32)


@dataclass(frozen=True)
class Place:
    """Where one object stands, as its row holds it."""

    rank_by_loss: int
    rank_by_weighted: int
    ties: dict[str, list[int]]
    among_first: float | None


def finish_run(run: RiskRun, order: Sequence[tuple[Any, ...]], *, at: datetime) -> None:
    """Write the order of all of a run and make it the one that is shown; draws of older runs are not kept.

    A row that was scored again since ``order`` was worked out keeps what that gave it.
    """
    bulk.update_rows(ObjectRisk, STANDS, order)
    ObjectDraws.objects.exclude(run=run).delete()
    scored = ObjectRisk.objects.filter(run=run)
    counts = {"objects": scored.count(), "joints": JointRisk.objects.filter(run=run).count()}
    counts["do_not_lift"] = scored.filter(band=Band.DO_NOT_LIFT).count()
    counts["first"] = read(run.parameters.values).first
    run.counts, run.finished_at = counts, at
    run.save(update_fields=["counts", "finished_at"])
    events.record(run, "scored", by=run.asked_by, at=at, became=counts)


COLUMNS = ("pk", "object_id", "band_order", "loss", "weighted_loss", "before_opening")
STANDS = ("rank_by_loss", "rank_by_weighted", "ties", "among_first")


def order_of(run: RiskRun) -> list[tuple[Any, ...]]:
    """Rank, ties and the chance to be among the first of every object whose row does not hold them yet, with its key.

    Writes nothing: for a large collection this takes seconds.
    """
    rows = list(ObjectRisk.objects.filter(run=run).order_by("object_id").values_list(*COLUMNS, *STANDS))
    if not rows:
        return []
    stored = dict(ObjectDraws.objects.filter(run=run).values_list("object_id", "chances"))
    draws = unpacked([stored[row[1]] for row in rows]) if len(stored) == len(rows) else None
    places = _places(rows, draws, read(run.parameters.values))
    return [
        (*_stored(place), row[0])
        for row, place in zip(rows, places, strict=True)
        if (place.rank_by_loss, place.rank_by_weighted, place.ties, place.among_first) != row[len(COLUMNS) :]
    ]


def _stored(place: Place) -> tuple[Any, ...]:
    return place.rank_by_loss, place.rank_by_weighted, json.dumps(place.ties), place.among_first


def _places(rows: Sequence[tuple[Any, ...]], draws: NDArray[np.float32] | None, parameters: Parameters) -> list[Place]:
    """Where each row stands. Without draws, as in old runs, nothing is said of ties or of the first."""
    bands = np.array([row[2] for row in rows], dtype=np.int64)
    ranks, ties, first = {}, {}, None
    for name, column in (("loss", 3), ("weighted", 4)):
        score = np.array([row[column] for row in rows], dtype=np.float64)
        order, ranks[name] = ranked(bands, score)
        if draws is not None:
            chance = np.array([row[5] for row in rows], dtype=np.float64)
            drawn = draws * (score / np.maximum(chance, 1e-12)).astype(np.float32)[:, None]
            ties[name] = _ties(drawn, order, bands, ranks[name], sure=parameters.thresholds.told_apart)
            first = _first(drawn, bands, parameters.first)
    return [
        Place(
            int(ranks["loss"][row]),
            int(ranks["weighted"][row]),
            {name: [int(ends[0][row]), int(ends[1][row])] for name, ends in ties.items()},
            None if first is None else round(float(first[row]), 4),
        )
        for row in range(len(rows))
    ]


def ranked(bands: Whole, score: Floats) -> tuple[Whole, Whole]:
    """Order [n] of objects and the rank of each from 1: by band, then the highest score, then as they are given."""
    order = np.lexsort((np.arange(score.size), -score, bands))
    ranks = np.empty(score.size, dtype=np.int64)
    ranks[order] = np.arange(1, score.size + 1)
    return order, ranks


def _ties(drawn: NDArray[np.float32], order: Whole, bands: Whole, ranks: Whole, *, sure: float) -> tuple[Whole, Whole]:
    """First and last rank [n] of the group that each object cannot be told apart from; bands are always told apart."""
    low, high = ranks.copy(), ranks.copy()
    for band in np.unique(bands):
        rows = np.flatnonzero(bands == band)
        mine = order[bands[order] == band]
        groups = tied_groups(drawn[rows], sure=sure, order=np.searchsorted(rows, mine))[np.searchsorted(rows, mine)]
        begins = np.flatnonzero(np.diff(groups, prepend=-1))  # groups follow each other along the order
        sizes = np.diff(np.append(begins, groups.size))
        low[mine] = np.repeat(ranks[mine[begins]], sizes)
        high[mine] = low[mine] + np.repeat(sizes, sizes) - 1
    return low, high


def _first(drawn: NDArray[np.float32], bands: Whole, k: int) -> Floats:
    """Chance [n] to be among the first ``k``: what must not be lifted before all else, then by drawn loss."""
    chance, left = np.zeros(bands.size), k
    for band in np.unique(bands):
        rows = np.flatnonzero(bands == band)
        if left > 0:
            chance[rows] = among_first(drawn[rows], left)
        left -= rows.size
    return chance
