"""What a draft of parameters would do to the ranking, worked out by the scoring itself and then taken back.

Each batch is scored under the set in force and under the draft inside a savepoint that is rolled back, so that a
preview can never differ from what a scoring would do, and leaves nothing behind.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction

from media.base.jobs import Work
from survey.register.db.models import Exhibition, Object
from survey.register.db.selectors import current_exhibition
from survey.risk.comparing import Effect, Ranked, compare
from survey.risk.db.models import Band, ObjectRisk, ParameterDraft, ParameterSet, RiskRun
from survey.risk.db.selectors.light import light_for
from survey.risk.db.selectors.parameters import the_draft
from survey.risk.db.selectors.ranking import latest_run
from survey.risk.db.services.scoring import learned_for, objects_to_score, score_batch
from survey.risk.parameters import read

MOST = 2_000  # objects tried out; of a larger collection a sample
BATCH = 100  # a savepoint holds the only writer of SQLite: each is kept to about a second
BANDS = tuple(Band.values)
SHOWN = 60
NOT_A_SET = 0  # number of the set that a savepoint holds and takes back


class _TakeBack(Exception):
    """Leaves a savepoint with everything in it undone."""


def try_out(work: Work, draft_id: UUID, *, at: datetime) -> None:
    """Work out the effect of a draft and keep it with the draft."""
    draft = the_draft(draft_id)
    ids, total = sample_of(draft)
    work.say("Scoring as it is and as it would be", total=len(ids))
    exhibition = current_exhibition()
    ways = [(values, _learned(values, ids, exhibition, at=at)) for values in (draft.base.values, draft.values)]
    both: list[tuple[UUID, _Row, _Row]] = []
    for start in range(0, len(ids), BATCH):
        batch = ids[start : start + BATCH]
        with work.step(done=len(batch)):
            before, after = (_scored(values, learned, batch, exhibition, at=at) for values, learned in ways)
            both += [(pk, before[pk], after[pk]) for pk in batch if pk in before and pk in after]
    with work.step(saying="Setting both rankings side by side"):
        effect = _effect(both, total=total, first=read(draft.values).first, at=at, base=draft.base)
        kept = ParameterDraft.objects.filter(pk=draft.pk, values=draft.values, base=draft.base)
        kept.update(effect=effect)
    work.finish({"objects": len(both)})


def sample_of(draft: ParameterDraft) -> tuple[list[UUID], int]:
    """The objects to try out, and how many there are: all, or the first of the ranking shown and a random rest."""
    ids = objects_to_score()
    if len(ids) <= MOST:
        return ids, len(ids)
    run, there = latest_run(), set(ids)
    leading = ObjectRisk.objects.filter(run=run, rank_by_weighted__gt=0).order_by("rank_by_weighted")
    chosen = [pk for pk in leading.values_list("object_id", flat=True)[: MOST // 10] if pk in there]
    rest = sorted(there - set(chosen))
    rng = np.random.default_rng(draft.pk.int % 2**32)
    drawn = rng.choice(len(rest), MOST - len(chosen), replace=False)
    return sorted([*chosen, *(rest[place] for place in drawn)]), len(ids)


_Row = tuple[str, int, float, float]


def _learned(
    values: dict[str, Any], ids: Sequence[UUID], exhibition: Exhibition | None, *, at: datetime
) -> dict[str, Any]:
    """What all the objects teach together under some values."""
    tried = ParameterSet(number=NOT_A_SET, values=values)
    return learned_for(RiskRun(parameters=tried, exhibition=exhibition, as_of=at.date()), ids)


def _scored(
    values: dict[str, Any],
    learned: dict[str, Any],
    ids: Sequence[UUID],
    exhibition: Exhibition | None,
    *,
    at: datetime,
) -> dict[UUID, _Row]:
    """Band, order, weighted loss and chance of each object under some values; nothing stays written."""
    found: dict[UUID, _Row] = {}
    try:
        with transaction.atomic():
            tried = ParameterSet.objects.create(number=NOT_A_SET, name="tried", values=values, adopted_at=at)
            run = RiskRun.objects.create(
                parameters=tried, exhibition=exhibition, as_of=at.date(), began_at=at, learned=learned
            )
            score_batch(light_for(run), ids)
            rows = ObjectRisk.objects.filter(run=run).order_by()
            names = ("object_id", "band", "band_order", "weighted_loss", "before_opening")
            found = {pk: (band, order, loss, chance) for pk, band, order, loss, chance in rows.values_list(*names)}
            raise _TakeBack
    except _TakeBack:
        return found


def _effect(
    both: Sequence[tuple[UUID, _Row, _Row]], *, total: int, first: int, at: datetime, base: ParameterSet
) -> dict[str, Any]:
    """The effect as the draft keeps it."""
    found = compare(_ranked(was for _, was, _ in both), _ranked(new for _, _, new in both), first=first)
    named = [both[row][0] for row in {*found.entering, *found.leaving, *found.moved}]
    columns = Object.objects.filter(pk__in=named).values_list("pk", "number", "simple_name")
    things = {pk: (number, name) for pk, number, name in columns}

    def lines(rows: Iterable[int]) -> list[dict[str, Any]]:
        return [_line(both[row], things[both[row][0]], found, row) for row in list(rows)[:SHOWN]]

    return {
        "at": at.isoformat(),
        "base": base.number,
        "objects": len(both),
        "of": total,
        "first": first,
        "changing": found.changing,
        "bands": [[BANDS[was], BANDS[new], count] for (was, new), count in sorted(found.bands.items())],
        "entering": lines(found.entering),
        "leaving": lines(found.leaving),
        "moved": lines(found.moved),
        "correlation": None if np.isnan(found.correlation) else found.correlation,
        "chance_shift": list(found.chance_shift),
    }


def _line(both: tuple[UUID, _Row, _Row], thing: tuple[str, str], effect: Effect, row: int) -> dict[str, Any]:
    pk, was, new = both
    return {
        "object": str(pk),
        "number": thing[0],
        "name": thing[1],
        "was": int(effect.was[row]),
        "becomes": int(effect.becomes[row]),
        "chance_was": was[3],
        "chance_becomes": new[3],
    }


def _ranked(rows: Iterable[_Row]) -> Ranked:
    held = list(rows)
    return Ranked(
        band=np.array([BANDS.index(row[0]) for row in held], dtype=np.int64),
        order=np.array([row[1] for row in held], dtype=np.int64),
        loss=np.array([row[2] for row in held], dtype=np.float64),
        chance=np.array([row[3] for row in held], dtype=np.float64),
    )
