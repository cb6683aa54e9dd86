"""All reading of forecasts: what came out, and the work that they simulate, which the planning room gathers."""

from treatments.forecast.db.selectors.between import Between, assumed_mishaps, mishap
from treatments.forecast.db.selectors.shown import (
    ShownForecast,
    late_page,
    latest_forecast,
    newest_job,
    nobody_works,
    shown_forecast,
)
from treatments.planning.db.selectors.work import MOUNTED, Work, days_ahead, gather_work

__all__ = [
    "MOUNTED",
    "Between",
    "ShownForecast",
    "Work",
    "assumed_mishaps",
    "days_ahead",
    "gather_work",
    "late_page",
    "latest_forecast",
    "mishap",
    "newest_job",
    "nobody_works",
    "shown_forecast",
]
