"""All reading of staff, of the work to be planned, and of plans."""

from treatments.planning.db.selectors.offers import Offer, effects, offer
from treatments.planning.db.selectors.shown import (
    Line,
    all_weeks,
    calendar_lines,
    newest_plan_job,
    pinned_objects,
    sheets,
    span,
    week_view,
)
from treatments.planning.db.selectors.staff import (
    Department,
    StaffLine,
    bench_hours,
    department,
    holidays,
    missing_skills,
    person_of,
    staff_line,
    staff_members,
    workplaces,
)
from treatments.planning.db.selectors.stored import as_core, latest_plan, offer_for, pins_of
from treatments.planning.db.selectors.work import MOUNTED, Work, days_ahead, due_day, gather_work

__all__ = [
    "MOUNTED",
    "Department",
    "Line",
    "Offer",
    "StaffLine",
    "Work",
    "all_weeks",
    "as_core",
    "bench_hours",
    "calendar_lines",
    "days_ahead",
    "department",
    "due_day",
    "effects",
    "gather_work",
    "holidays",
    "latest_plan",
    "missing_skills",
    "newest_plan_job",
    "offer",
    "offer_for",
    "person_of",
    "pinned_objects",
    "pins_of",
    "sheets",
    "span",
    "staff_line",
    "staff_members",
    "week_view",
    "workplaces",
]
