"""All reading of hours."""

from treatments.hours.db.selectors.learned import Experience, Learned, learned
from treatments.hours.db.selectors.left import left_of, surprises, worked_on
from treatments.hours.db.selectors.plans import (
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
from treatments.hours.db.selectors.time import (
    COLUMNS as TIME_COLUMNS,
)
from treatments.hours.db.selectors.time import (
    ObjectTime,
    ShownClock,
    clock_of,
    forgotten,
    logged,
    object_time,
    people_who_log,
    step_names,
    the_person,
    time_rows,
    week_of,
)

__all__ = [
    "COLUMNS",
    "ORDERS",
    "TIME_COLUMNS",
    "Experience",
    "Learned",
    "LevelHours",
    "ObjectLevels",
    "ObjectPlan",
    "ObjectTime",
    "ShownClock",
    "TreatmentsPage",
    "all_levels",
    "clock_of",
    "experience",
    "export_rows",
    "forgotten",
    "hours_needed",
    "learned",
    "left_of",
    "logged",
    "object_levels",
    "object_plans",
    "object_time",
    "open_suggestions",
    "people_who_log",
    "plans_of",
    "step_names",
    "surprises",
    "the_person",
    "time_rows",
    "treatments_page",
    "week_of",
    "worked_on",
]
