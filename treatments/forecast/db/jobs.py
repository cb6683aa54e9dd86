"""Forecasting as a job: progress by trials, the same seed the same answer, written whole at the end."""

from __future__ import annotations

from django.utils import timezone

from media.base.errors import FettleError
from media.base.jobs import Work, job, nightly
from treatments.forecast.db import services
from treatments.forecast.db.models import Forecast


@job("treatments.forecast.run")
def run_forecast(work: Work, *, forecast_id: str) -> None:
    """Simulate one forecast. Interrupted, it begins anew: it is short, and the seed makes it the same."""
    row = Forecast.objects.select_related("exhibition", "asked_by").get(pk=forecast_id)
    if row.finished_at is None:
        _simulate(work, row)
    work.finish({"forecast": str(row.pk), "chances": row.chances})


def _simulate(work: Work, row: Forecast) -> None:
    counted = work.row.done  # of an attempt that was interrupted
    work.say("Making the simulation ready; some seconds longer the first time after an update", total=row.trials)

    def progress(done: int) -> None:
        nonlocal counted
        step_on = done - counted  # a step back where the earlier attempt had come further
        with work.step(done=step_on, saying="Simulating the weeks to opening day"):
            counted = done

    made = services.make_forecast(row, progress=progress)
    with work.step(saying="The forecast is ready"):
        services.keep_forecast(made, at=timezone.now())


@nightly("treatments.forecast.nightly", "The night's forecast")
def forecast_of_the_night(work: Work) -> None:
    """Forecast the exhibition being prepared, so that every day has one; where there is nothing to forecast, say so."""
    try:
        asked = services.start_nightly(at=timezone.now())
    except FettleError as error:
        work.say(error.message)
        work.finish({"nothing": error.message})
        return
    work.finish({"forecast": str(asked.pk)} if asked else {"nothing": "This day has its forecast already."})
