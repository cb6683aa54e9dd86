"""All reading of hours."""

from treatments.hours.db.selectors.plans import (
    Experience,
    LevelHours,
    ObjectPlan,
    all_levels,
    experience,
    hours_needed,
    object_plans,
    plans_of,
)
from treatments.hours.db.selectors.shown import (
    COLUMNS,
    ORDERS,
    ObjectLevels,
    TreatmentsPage,
    export_rows,
    object_levels,
    open_suggestions,
    treatments_page,
)

__all__ = [
    "COLUMNS",
    "ORDERS",
    "Experience",
    "LevelHours",
    "ObjectLevels",
    "ObjectPlan",
    "TreatmentsPage",
    "all_levels",
    "experience",
    "export_rows",
    "hours_needed",
    "object_levels",
    "object_plans",
    "open_suggestions",
    "plans_of",
    "treatments_page",
]
