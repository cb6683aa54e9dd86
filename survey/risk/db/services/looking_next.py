"""Working out what to look at next: every look and test that may change a choice before opening, kept as rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from uuid import UUID

import numpy as np
from django.db import transaction
from numpy.typing import NDArray

from media.base import bulk, events, jobs
from media.base.errors import Clash, NotThere
from media.base.models import Job, JobState, User
from survey.risk.db.models import NextList, NextStep, RiskRun, StepKind
from survey.risk.db.selectors import latest_run
from survey.risk.db.selectors.looking_next import Asked, shelf_sums, totals
from survey.risk.db.selectors.peers import restricted, tests_made
from survey.risk.db.services.knowing import Known, known_of
from survey.risk.db.services.unseen import unsurveyed_looks
from survey.risk.look_next import (
    TEST_MINUTES,
    TOUCHING,
    Looks,
    Tests,
    words_of_look,
    words_of_test,
    worth_of_looks,
    worth_of_tests,
)
from survey.risk.together import score_together

NEXT_JOB = "survey.risk.look_next"
AGAIN_AFTER = 1.0  # calendar years from which a joint that was looked at may be worth another look
POINTS = 60  # of the curve on the page
Tell = Callable[[str], None]


@transaction.atomic
def ask_for_next_list(run: RiskRun, *, by: User | None) -> Job:
    """Have the list worked out for a finished run; a job already waiting for that run is enough."""
    arguments = {"run_id": str(run.pk)}
    waiting = Job.objects.filter(name=NEXT_JOB, state=JobState.QUEUED, arguments=arguments).first()
    return waiting or jobs.enqueue(NEXT_JOB, by=by, title="Working out what to look at next", **arguments)


@transaction.atomic
def work_out_again(*, by: User, at: datetime) -> Job:
    """The list anew from the record as it is now. Raises ``NotThere`` before the first scoring, ``Clash`` while one is
    being made."""
    run = latest_run()
    if run is None:
        raise NotThere("Nothing is scored yet. Score the joints on the ranking page first.")
    if Job.objects.filter(name=NEXT_JOB, state__in=(JobState.QUEUED, JobState.RUNNING)).exists():
        raise Clash("It is being worked out already. Wait until that is done.")
    job = ask_for_next_list(run, by=by)
    events.record(run, "asked what to look at next", by=by, at=at)
    return job


def make_next_list(run: RiskRun, *, tell: Tell) -> Iterator[NextStep]:
    """All steps for a run, not yet saved and without their list, in no order."""
    known = known_of(run, tell)
    touched = restricted()
    if known is not None:
        tell("Weighing looks at joints on record")
        made = [*_looks(known), *_tests(known, touched, tell)]
        best = _best_of(made)
        for step in made:
            step.best = best[step.object_id] is step
            yield step
    tell("Weighing looks at objects nobody has surveyed")
    for pk, looks, row, text in unsurveyed_looks(run, known):
        yield _look(pk, looks, row, text)


def _best_of(steps: Sequence[NextStep]) -> dict[UUID, NextStep]:
    best: dict[UUID, NextStep] = {}
    for step in steps:
        if step.object_id not in best or step.rate > best[step.object_id].rate:
            best[step.object_id] = step
    return best


@transaction.atomic
def keep_next_list(run: RiskRun, steps: Sequence[NextStep], *, at: datetime) -> NextList:
    """Write the list of a run in place of the one it had, and take older runs' lists away."""
    NextList.objects.filter(run=run).delete()
    looks = [step for step in steps if step.kind == StepKind.LOOK]
    made = NextList.objects.create(
        run=run,
        made_at=at,
        counts={
            "looks": len(looks),
            "tests": len(steps) - len(looks),
            "left_out": len(restricted()),
            "failing": round(sum(step.failing for step in looks), 1),
        },
        curve=_curve([step for step in steps if step.best]),
    )
    for step in steps:
        step.list = made
    bulk.insert(NextStep, steps, leave_out=("id",))
    made.counts |= {"whole": totals(made, Asked()), "shelves": shelf_sums(made, Asked())}
    made.save(update_fields=["counts"])
    NextList.objects.exclude(pk=made.pk).filter(run__began_at__lte=run.began_at).delete()
    became = {name: made.counts[name] for name in ("looks", "tests", "left_out")}
    events.record(made, "worked out what to look at next", by=None, at=at, became=became)
    return made


def _curve(steps: Sequence[NextStep]) -> list[list[float]]:
    """Hours spent, and the share of all that these steps are worth gained by then, from none to all of them."""
    if not steps:
        return []
    ordered = sorted(steps, key=lambda step: -step.rate)
    hours = np.cumsum([step.minutes for step in ordered]) / 60
    gained = np.cumsum([step.worth for step in ordered])
    # Closer together where the curve bends, at its beginning.
    places = np.unique((len(ordered) * np.linspace(0, 1, POINTS) ** 2).astype(int).clip(1) - 1)
    return [[0.0, 0.0], *([round(float(hours[i]), 3), round(float(gained[i] / gained[-1]), 4)] for i in places)]


def _looks(known: Known) -> Iterator[NextStep]:
    stake = known.loss * known.matters[known.inputs.object_index]
    looks = worth_of_looks(
        known.inputs, known.bonds, stake=stake, assumptions=known.assumptions, again_after=AGAIN_AFTER
    )
    for row in np.flatnonzero(looks.worth > 0):
        yield _look(known.facts[row].id, looks, int(row), words_of_look(looks, int(row)))


def _look(pk: UUID, looks: Looks, row: int, text: str) -> NextStep:
    worth, minutes = float(looks.worth[row]), float(looks.minutes[row])
    return NextStep(
        object_id=pk,
        kind=StepKind.LOOK,
        best=True,
        rate=worth / minutes,
        worth=worth,
        changes=float(looks.changes[row]),
        minutes=minutes,
        failing=float(looks.failing[row]),
        text=text,
    )


def _tests(known: Known, touched: set[UUID], tell: Tell) -> Iterator[NextStep]:
    """The best joint of each object for each kind of test; no test that touches where a restriction is on record."""
    had = tests_made()
    scores = score_together(known.inputs, known.bonds, known.assumptions)
    chance = scores.joints.before[0, :, -1]
    owner, count = known.inputs.object_index, known.inputs.object_count
    lost = np.bincount(owner, chance * known.loss, count) / np.maximum(np.bincount(owner, chance, count), 1e-12)
    kept = np.array([joint.object_id in touched for joint in known.joints])
    of = np.zeros(known.workshop.size, dtype=np.int64)
    of[known.bonds.restoration] = owner
    for kind in TEST_MINUTES:
        tell(f"Weighing tests: {StepKind(kind).label.lower()}")
        done = np.array([kind in had.get(joint.id, ()) or "ftir" in had.get(joint.id, ()) for joint in known.joints])
        tests = worth_of_tests(
            known.inputs, known.bonds, known.workshop, kind, table=known.parameters.table, stake=lost * known.matters,
            tested=done | kept if kind in TOUCHING else done, scores=scores,
        )  # fmt: skip
        yield from _best_tests(known, tests, kind, of)


def _best_tests(known: Known, tests: Tests, kind: str, of: NDArray[np.int64]) -> Iterator[NextStep]:
    taken: set[int] = set()
    for row in np.argsort(-tests.worth, kind="stable"):
        if tests.worth[row] <= 0:
            return
        owner = int(of[row])
        if owner in taken:
            continue
        taken.add(owner)
        yield NextStep(
            object_id=known.facts[owner].id,
            joint_id=known.joints[int(tests.joint[row])].id,
            kind=kind,
            best=False,
            rate=float(tests.worth[row]) / TEST_MINUTES[kind],
            worth=float(tests.worth[row]),
            changes=float(tests.changes[row]),
            minutes=TEST_MINUTES[kind],
            failing=0.0,
            others=int(tests.others[row]),
            text=words_of_test(tests, kind, int(row), known.parts),
        )
