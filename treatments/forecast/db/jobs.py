"""Forecasting as a job: progress by trials, the same seed the same answer, written whole at the end."""

from __future__ import annotations

from django.utils import timezone

from media.base.jobs import Work, job
from treatments.forecast.db import services
from treatments.forecast.db.models import Forecast


@job("treatments.forecast.run")
def run_forecast(work: Work, *, forecast_id: str) -> None:
    """Simulate one forecast. Interrupted, it begins anew: it is short, and the seed makes it the same."""
    row = Forecast.objects.select_related("exhibition").get(pk=forecast_id)
    work.say("Simulating the weeks to opening day", total=row.trials)
    counted = 0

    def progress(done: int) -> None:
        nonlocal counted
        with work.step(done=done - counted):
            counted = done

    made = services.make_forecast(row, progress=progress)
    with work.step(saying="Writing it down"):
        services.keep_forecast(made, at=timezone.now())
    work.finish({"forecast": str(row.pk), "chances": row.chances})
