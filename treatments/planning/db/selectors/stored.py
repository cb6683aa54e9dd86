"""Plans as they are kept, and back into what the planning core takes."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.utils import timezone

from media.base.errors import NotThere
from survey.register.db.models import Exhibition
from treatments.planning.calendar import quarter_of
from treatments.planning.db.models import Plan
from treatments.planning.db.selectors.arrangement import held_objects
from treatments.planning.db.selectors.offers import Offer, offer
from treatments.planning.db.selectors.work import gather_work


def latest_plan(exhibition: Exhibition | None) -> Plan | None:
    """The newest plan that holds steps, whether or not its search has ended."""
    if exhibition is None:
        return None
    rows = Plan.objects.filter(exhibition=exhibition, kept_at__isnull=False)
    return rows.select_related("exhibition", "job", "by").order_by("-made_at").first()


def the_plan(pk: UUID) -> Plan:
    """One plan. Raises ``NotThere``."""
    found = Plan.objects.select_related("exhibition").filter(pk=pk).first()
    if found is None:
        raise NotThere("This plan does not exist any more. Look at the newest one.")
    return found


def pins_of(plan: Plan | None) -> dict[str, int]:
    """Objects that are held where they are, and by whom."""
    if plan is None:
        return {}
    rows = plan.steps.filter(pinned_by__isnull=False).values_list("object_id", "pinned_by_id")
    return {str(thing): person for thing, person in rows}


def offer_for(plan: Plan) -> Offer:
    """The instance of a plan: the work as it is recorded now, from the moment on at which the plan was asked for."""
    local = timezone.localtime(plan.made_at).replace(tzinfo=None)
    before = plan.replaces
    held = held_objects(before)
    kept = before.steps.values_list("object_id", "level").distinct() if before and held else []
    return offer(
        gather_work(plan.exhibition, local),
        mandatory_weeks=plan.mandatory_weeks,
        other_weeks=plan.other_weeks,
        pinned={str(thing): level for thing, level in kept if str(thing) in held},
    )


def as_core(plan: Plan, there: Offer) -> dict[str, Any]:
    """A kept plan in the terms of an instance: levels by index, starts in its quarter-hours; without what is gone."""
    index = {
        thing["id"]: {level["name"]: n for n, level in enumerate(thing["levels"])}
        for thing in there.instance["objects"]
    }
    levels: dict[str, int] = {}
    steps = []
    for step in plan.steps.order_by("starts", "pk"):
        name = str(step.object_id)
        level = index.get(name, {}).get(step.level)
        if level is None:
            continue
        levels[name] = level
        if step.staff_id:
            local = timezone.localtime(step.starts).replace(tzinfo=None)
            steps.append([name, step.code, str(step.staff_id), quarter_of(local, there.work.monday)])
    return {"levels": levels, "steps": steps}
