from treatments.forecast.db.models import Forecast, ObjectForecast
from treatments.hours.db.models import EstimateFactor, LoggedTime, RunningClock, Treatment
from treatments.options.db.models import ChosenLevel, LevelTable
from treatments.planning.db.models import (
    CalendarAddress,
    Holiday,
    Leave,
    LevelEffect,
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
    "Holiday",
    "Leave",
    "LevelEffect",
    "LevelTable",
    "LoggedTime",
    "ObjectForecast",
    "Plan",
    "PlannedStep",
    "RunningClock",
    "StaffMember",
    "Treatment",
    "Workplace",
]
