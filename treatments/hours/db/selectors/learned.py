"""What the department's finished treatments teach, read once for each state of the record."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from survey.register.db.models import Object
from treatments.hours.db.models import EstimateFactor, LoggedTime, Treatment
from treatments.hours.estimate import ReferenceClass, reference_class
from treatments.hours.learning import Calibration, StepRecord, Teaching, adjusted, calibrate, mean_of, teach
from treatments.options.db import selectors as options
from treatments.options.steps import StepHours, ThreePoint

ENOUGH = 10
# Spread (standard deviation of the logarithm) of the factor that all work of one season shares. Before there are enough
# finished jobs: a common bias of 30 per cent, as in published project figures. After, beside what so few jobs leave
# open: how far one season strays from the long run, which is our own judgement.
NOT_KNOWN_YET, SEASON = 0.3, 0.1


class Experience(NamedTuple):
    """How finished jobs compare with their estimates, each job's estimate being the mean of its steps' ranges.

    ``factor`` is what all finished jobs took over what they were expected to take; ``log_sigma`` how far the factor of
    the work to come may lie from it. ``reference`` has the ratios of single jobs.
    """

    reference: ReferenceClass
    factor: float
    log_sigma: float


@dataclass(frozen=True)
class Learned:
    """What estimates are made with: the factor, and what single steps taught where there is enough of it."""

    experience: Experience
    teaching: Teaching | None
    records: tuple[StepRecord, ...]

    def hours(self, step: StepHours, body: str = "") -> ThreePoint:
        """Hours of a step of the table as this department works."""
        return adjusted(step, self.experience.factor, self.teaching, body)

    @property
    def calibration(self) -> Calibration | None:
        """How these estimates would have held, each finished job forecast by all others."""
        return _calibrated(self.records) if self.teaching else None


def learned() -> Learned:
    """What finished treatments teach. Five queries; the fit is made once for each state of the record.

    Until ``ENOUGH`` jobs are finished the factor is the one that somebody set, else 1, with the spread that published
    estimates show. The scatter of single jobs is not in ``log_sigma``: over many objects it averages out, and the
    forecast draws it job by job.
    """
    standing = LoggedTime.objects.standing().filter(treatment__finished_on__isnull=False)
    took: dict[tuple[UUID, str], float] = defaultdict(float)
    for treatment, step, hours in standing.order_by("pk").values_list("treatment_id", "step", "hours"):
        took[treatment, step] += hours
    finished = Treatment.objects.filter(finished_on__isnull=False).order_by("pk")
    rows = {
        pk: (estimate, body) for pk, estimate, body in finished.values_list("pk", "estimate", "object__body")
    }  # fmt: skip
    newest = EstimateFactor.objects.order_by("-pk").values_list("factor", flat=True).first()
    whole: dict[UUID, float] = defaultdict(float)
    for (pk, _), hours in took.items():
        whole[pk] += hours
    said = {pk: expected_hours(ThreePoint(*p) for p in rows[pk][0].values()) for pk in whole if pk in rows}
    jobs = [pk for pk, hours in said.items() if hours > 0]
    known = _experience(np.array([said[pk] for pk in jobs]), np.array([whole[pk] for pk in jobs]), newest)
    records = tuple(_records(took, rows)) if known.reference.enough and options.newest_table() else ()
    return Learned(known, _taught(records) if known.reference.enough else None, records)


def _experience(expected: NDArray[np.float64], actual: NDArray[np.float64], newest: float | None) -> Experience:
    reference = reference_class(expected, actual, least=ENOUGH)
    if not reference.enough:
        return Experience(reference, newest or 1.0, NOT_KNOWN_YET)
    factor = float(actual.sum() / expected.sum())
    return Experience(reference, factor, float(np.hypot(_relative_error(expected, actual, factor), SEASON)))


def _records(
    took: dict[tuple[UUID, str], float], rows: dict[UUID, tuple[dict[str, list[float]], str]]
) -> Iterable[StepRecord]:
    """Every step of a finished job that was both estimated and logged."""
    steps = {step.code: step for level in options.table_in_use().levels for step in level.steps}
    for (pk, code), hours in took.items():
        estimate, body = rows.get(pk, ({}, ""))
        if code in estimate and code in steps and estimate[code][0] > 0:
            expected = mean_of(ThreePoint(*estimate[code]))
            yield StepRecord(str(pk), steps[code].kind, steps[code].skill, body, expected, hours)


@lru_cache(maxsize=4)
def _taught(records: tuple[StepRecord, ...]) -> Teaching | None:
    return teach(records)


@lru_cache(maxsize=4)
def _calibrated(records: tuple[StepRecord, ...]) -> Calibration | None:
    teaching = _taught(records)
    return calibrate(teaching) if teaching else None


def bodies_of(objects: Collection[UUID]) -> dict[UUID, str]:
    """Ceramic body of each object for which it is known. One query."""
    return dict(Object.objects.filter(pk__in=objects).exclude(body="").values_list("pk", "body"))


def _relative_error(expected: NDArray[np.float64], actual: NDArray[np.float64], factor: float) -> float:
    """Standard error of a ratio of totals, over the ratio; about that of its logarithm.

    Source: Cochran 1977, Sampling Techniques, 3rd ed., section 6.4 (from memory).
    """
    jobs = expected.size
    residual = actual - factor * expected
    return float(np.sqrt(jobs / (jobs - 1) * (residual**2).sum()) / (factor * expected.sum()))


def expected_hours(ranges: Iterable[ThreePoint]) -> float:
    """Mean hours of steps together: of each the mean of the log-normal through its low and high."""
    return sum(mean_of(points) for points in ranges if points.low > 0)
