"""What is left to do of treatments that have begun, and what taking down has shown so far."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import replace
from uuid import UUID

from django.db.models import Count, Q

from treatments.hours.db.models import LoggedTime, Treatment
from treatments.hours.db.selectors.plans import LevelHours
from treatments.hours.learning import mean_of
from treatments.options.steps import ZERO, ThreePoint

LEAST_LEFT = 0.25
"""Share of a step that is left at least, however long it took already, until somebody says that it is finished."""


def worked_on(objects: Collection[UUID]) -> dict[UUID, dict[str, tuple[float, bool]]]:
    """Hours so far on each step of treatments that go on, and whether the step is finished. One query."""
    found: dict[UUID, dict[str, tuple[float, bool]]] = defaultdict(dict)
    rows = LoggedTime.objects.standing().filter(treatment__finished_on=None, treatment__object__in=objects)
    for pk, step, hours, done in rows.values_list("treatment__object_id", "step", "hours", "step_done"):
        before = found[pk].get(step, (0.0, False))
        found[pk][step] = (before[0] + hours, before[1] or done)
    return found


def left_of(level: LevelHours, worked: Mapping[str, tuple[float, bool]]) -> LevelHours:
    """The level without its finished steps, and with what is left of those that were begun."""
    kept = []
    for turn, step in enumerate(level.steps):
        hours, done = worked.get(step.code, (0.0, False))
        if not done:
            share = max(LEAST_LEFT, 1 - hours / mean_of(step.hours)) if hours else 1.0
            kept.append((turn, replace(step, hours=step.hours * ThreePoint(share, share, share))))
    steps = tuple(step for _, step in kept)
    return replace(
        level, steps=steps, turns=tuple(turn for turn, _ in kept),
        hours=sum((step.hours for step in steps), ZERO), wait=sum((step.wait for step in steps), ZERO),
    )  # fmt: skip


def surprises() -> tuple[int, int]:
    """Treatments of which somebody said what taking down showed, and of those the ones with a surprise. One query."""
    said = Treatment.objects.filter(surprise__isnull=False)
    counts = said.aggregate(all=Count("pk"), found=Count("pk", filter=Q(surprise=True)))
    return counts["all"], counts["found"]
