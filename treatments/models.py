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
from treatments.whatif.db.models import Comparison, GivingWay, Scenario

__all__ = [
    "CalendarAddress",
    "ChosenLevel",
    "Comparison",
    "EstimateFactor",
    "Forecast",
    "GivingWay",
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
    "Scenario",
    "StaffMember",
    "Treatment",
    "Workplace",
]
