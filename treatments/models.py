from treatments.forecast.db.models import Forecast, ObjectForecast
from treatments.hours.db.models import LoggedTime, Treatment
from treatments.options.db.models import ChosenLevel, LevelTable
from treatments.planning.db.models import Holiday, Leave, StaffMember, Workplace

__all__ = [
    "ChosenLevel",
    "Forecast",
    "Holiday",
    "Leave",
    "LevelTable",
    "LoggedTime",
    "ObjectForecast",
    "StaffMember",
    "Treatment",
    "Workplace",
]
