"""All reading of staff, of the work to be planned, and of plans."""

from treatments.planning.db.selectors.offers import Offer, effects, offer
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
    "Offer",
    "StaffLine",
    "Work",
    "as_core",
    "bench_hours",
    "days_ahead",
    "department",
    "due_day",
    "effects",
    "gather_work",
    "holidays",
    "latest_plan",
    "missing_skills",
    "offer",
    "offer_for",
    "person_of",
    "pins_of",
    "staff_line",
    "staff_members",
    "workplaces",
]
