"""All reading of hours."""

from treatments.hours.db.selectors.plans import (
    Experience,
    LevelHours,
    ObjectPlan,
    all_levels,
    experience,
    object_plans,
    plans_of,
)
from treatments.hours.db.selectors.shown import ObjectLevels, TreatmentsPage, object_levels, treatments_page

__all__ = [
    "Experience",
    "LevelHours",
    "ObjectLevels",
    "ObjectPlan",
    "TreatmentsPage",
    "all_levels",
    "experience",
    "object_levels",
    "object_plans",
    "plans_of",
    "treatments_page",
]
