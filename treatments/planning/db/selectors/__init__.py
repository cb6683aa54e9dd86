"""All reading of staff, of the work to be planned, and of plans."""

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
from treatments.planning.db.selectors.work import MOUNTED, Work, days_ahead, due_day, gather_work

__all__ = [
    "MOUNTED",
    "Department",
    "StaffLine",
    "Work",
    "bench_hours",
    "days_ahead",
    "department",
    "due_day",
    "gather_work",
    "holidays",
    "missing_skills",
    "person_of",
    "staff_line",
    "staff_members",
    "workplaces",
]
