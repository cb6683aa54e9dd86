"""What the trials say: chances, quantiles, load, and why things are late."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treatments.forecast.dispatch import CLOSE_LATE, MOUNT_LATE, PHOTO_LATE
from treatments.forecast.records import Outcome
from treatments.forecast.roster import Roster
from treatments.forecast.tasks import PlannedWork
from treatments.planning.problem import RESOURCES, WEEK, Problem

MILESTONES = {"photo": PHOTO_LATE, "mount": MOUNT_LATE, "close": CLOSE_LATE}
MORE_HOURS, DATES_ONLY = "hours", "dates"


@dataclass(frozen=True)
class Milestone:
    """A date that the objects of one case must meet: ``kind`` photo, mount or close; ``by`` the earliest such date."""

    case: str
    kind: str
    by: int
    objects: int
    ready: float  # chance that all of them meet theirs
    late_mean: float


@dataclass(frozen=True)
class PersonLoad:
    """Hours of one person: planned, simulated (mean, 90 % quantile), on duty up to the last closing date."""

    person: str
    planned_hours: float
    mean_hours: float
    p90_hours: float
    duty_hours: float
    finish_week_p50: float
    finish_week_p90: float


@dataclass(frozen=True)
class Forecast:
    """Outcome of a simulation. Times in quarter-hours since Monday 00:00 of week 1; ``inf`` is never.

    ``ready`` [trials, objects] is when each planned object is done and cured, ``missed`` which of its dates it missed
    (bits 1 photography, 2 mounting, 4 closing), ``cause`` [trials, objects] an index into ``causes``: people, "hood",
    "bench", "hours" (work took longer than estimated), "dates" (nothing but cures, releases and dates).
    """

    object_ids: tuple[str, ...]
    cases: tuple[str, ...]
    mandatory: NDArray[np.bool_]
    dates: NDArray[np.int64]
    mandatory_unplanned: int
    ready: NDArray[np.float32]
    missed: NDArray[np.uint8]
    cause: NDArray[np.int16]
    causes: tuple[str, ...]
    load: tuple[PersonLoad, ...]

    @classmethod
    def gather(cls, problem: Problem, planned: PlannedWork, roster: Roster, out: Outcome) -> Forecast:
        mandatory = problem.work.mandatory.astype(bool)
        at = planned.objects
        return cls(
            tuple(problem.object_ids[i] for i in at),
            tuple(problem.cases[i] for i in at),
            mandatory[at],
            problem.dates[at],
            int(mandatory.sum() - mandatory[at].sum()),
            out.ready,
            out.missed,
            out.cause,
            (*problem.staff_ids, *RESOURCES, MORE_HOURS, DATES_ONLY),
            tuple(_loads(problem, planned, roster, out)),
        )

    @property
    def trials(self) -> int:
        return int(self.ready.shape[0])

    @property
    def late(self) -> NDArray[np.bool_]:
        """[trials, objects]: whether an object missed any of its dates."""
        return self.missed > 0

    @property
    def ready_all(self) -> float:
        """Chance that every planned object, and every mandatory one, meets all its dates."""
        return 0.0 if self.mandatory_unplanned else float(1 - self.late.any(axis=1).mean())

    @property
    def ready_mandatory(self) -> float:
        """Chance that every mandatory object meets all its dates; 0 if one of them is not planned."""
        return 0.0 if self.mandatory_unplanned else float(1 - self.late[:, self.mandatory].any(axis=1).mean())

    @property
    def late_mean(self) -> float:
        """Mean number of planned objects that miss a date."""
        return float(self.late.sum(axis=1).mean())

    @property
    def late_chance(self) -> NDArray[np.float64]:
        """[objects]: chance to miss any date."""
        return self.late.mean(axis=0)

    def finish_weeks(self, quantiles: Sequence[float]) -> dict[float, float | None]:
        """Weeks from the start until the last planned object is ready; nothing where that never happens."""
        last = self.ready.max(axis=1, initial=0.0)
        found = np.quantile(last, quantiles, method="inverted_cdf") / WEEK
        return {q: float(w) if np.isfinite(w) else None for q, w in zip(quantiles, found, strict=True)}

    def ready_quantiles(self, quantiles: Sequence[float]) -> NDArray[np.float64]:
        """[quantiles, objects]: when each object is ready, quarter-hours; ``inf`` is never."""
        return np.quantile(self.ready, quantiles, axis=0, method="inverted_cdf").astype(float)

    def milestones(self) -> list[Milestone]:
        """Each case's photography, mounting and closing dates and the chance that all its objects meet them."""
        found = []
        for case in sorted(set(self.cases)):
            own = np.array([c == case for c in self.cases])
            for column, (kind, bit) in enumerate(MILESTONES.items()):
                late = (self.missed[:, own] & bit) > 0
                found.append(
                    Milestone(
                        case,
                        kind,
                        int(self.dates[own, column].min()),
                        int(own.sum()),
                        float(1 - late.any(axis=1).mean()),
                        float(late.sum(axis=1).mean()),
                    )
                )
        return sorted(found, key=lambda m: (m.by, m.case, m.kind))

    def causes_of_lateness(self) -> NDArray[np.float64]:
        """[objects, causes]: share of trials in which an object is late for that cause; a row sums to its chance."""
        late, found = self.late, np.zeros((len(self.object_ids), len(self.causes)))
        for code in range(len(self.causes)):
            found[:, code] = (late & (self.cause == code)).mean(axis=0)
        return found


def _loads(problem: Problem, planned: PlannedWork, roster: Roster, out: Outcome) -> list[PersonLoad]:
    """Hours per person, against those on duty until the last closing date of what is planned."""
    last = int(problem.dates[planned.objects, 2].max()) if planned.objects.size else problem.horizon
    found = []
    for p, person in enumerate(problem.staff_ids):
        own = slice(roster.ptr[p], roster.ptr[p + 1])
        duty = np.maximum(0, np.minimum(roster.end[own], last) - roster.start[own]).sum()
        worked = out.worked[:, p]
        weeks = np.quantile(out.finished[:, p], (0.5, 0.9)) / WEEK
        found.append(
            PersonLoad(
                person,
                float(problem.work.q[planned.steps[planned.person == p]].sum() / 4),
                float(worked.mean(dtype=float) / 4),
                float(np.quantile(worked, 0.9) / 4),
                float(duty / 4),
                float(weeks[0]),
                float(weeks[1]),
            )
        )
    return found
