from treatments.forecast.db.models import Forecast, Mishap, ObjectForecast
from treatments.hours.db.models import EstimateFactor, LoggedTime, RunningClock, Treatment
from treatments.options.db.models import ChosenLevel, LevelTable
from treatments.planning.db.models import (
    CalendarAddress,
    HandMove,
    Holiday,
    Leave,
    LevelEffect,
    LockedWeek,
    Plan,
    PlannedStep,
    StaffMember,
    Workplace,
)

__all__ = [
    "CalendarAddress",
    "ChosenLevel",
    "EstimateFactor",
    "Forecast",
    "HandMove",
    "Holiday",
    "Leave",
    "LevelEffect",
    "LevelTable",
    "LockedWeek",
    "LoggedTime",
    "Mishap",
    "ObjectForecast",
    "Plan",
    "PlannedStep",
    "RunningClock",
    "StaffMember",
    "Treatment",
    "Workplace",
]
