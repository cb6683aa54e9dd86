"""Forecast opening day here and now, with a progress bar on a terminal."""

from __future__ import annotations

import json
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from collections.abc import Iterator
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from media.base import jobs
from media.base.errors import FettleError
from media.base.models import JobState
from media.management.watching import Bar, ended
from media.templatetags.fettle import chance
from survey.register.db.models import MilestoneKind
from treatments.forecast.db import jobs as forecast_jobs  # noqa: F401  # registers the forecasting
from treatments.forecast.db.models import Forecast
from treatments.forecast.db.services import TRIALS, start_forecast

HELP = """Forecast whether the checklist of the coming exhibition will be ready: the chance for each of its dates, and
the days on which everything is ready 1 time in 10, half of the time, 8 times in 10 and 95 times in 100. The same seed
gives the same answer. It is kept and shown on the forecast page. It supports a decision and makes none.

Example:
  manage.py forecast
  manage.py forecast --trials 10000 --seed 7 --json
"""


class Command(BaseCommand):
    help = HELP

    def create_parser(self, *args: Any, **kwargs: Any) -> Any:
        return super().create_parser(*args, formatter_class=RawDescriptionHelpFormatter, **kwargs)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--trials", type=int, default=TRIALS, help=f"futures to simulate (default {TRIALS})")
        parser.add_argument("--seed", type=int, help="of the draws (default: one for each day)")
        parser.add_argument("--json", action="store_true", help="print the outcome as one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            row, job = start_forecast(by=None, at=timezone.now(), trials=options["trials"], seed=options["seed"])
        except FettleError as error:
            raise CommandError(error.message) from error
        with Bar(job.pk, self.stderr, of="futures"):
            jobs.run(job.pk)
            job = ended(job)
        if job.state != JobState.DONE:
            raise CommandError(job.error or "The forecast was stopped before it was done; the last one still stands.")
        row.refresh_from_db()
        for line in [json.dumps(_outcome(row))] if options["json"] else _lines(row):
            self.stdout.write(line)


def _outcome(row: Forecast) -> dict[str, Any]:
    return {
        "forecast": str(row.pk),
        "exhibition": row.exhibition.name,
        "as_of": row.as_of.isoformat(),
        "trials": row.trials,
        "seed": row.seed,
        "chances": row.chances,
        "chance_of_every_date": row.chance_all,
        "finish": row.finish,
        "expected_late_objects": row.expected_late,
        "hours_needed": row.hours_needed,
        "hours_there": row.hours_there,
        "notes": row.notes,
    }


def _lines(row: Forecast) -> Iterator[str]:
    dates = dict(row.exhibition.milestones.values_list("kind", "date"))
    yield f"Will {row.exhibition} be ready? {row.trials} futures, seed {row.seed}."
    for kind in (kind for kind in MilestoneKind if kind.value in row.chances):
        yield f"  {kind.label:<13} {_words(dates[kind.value]):<18} {chance(row.chances[kind.value])}"
    days = {name: _words(date.fromisoformat(day)) if day else "never" for name, day in row.finish.items()}
    yield (
        f"Everything ready: 1 in 10 by {days['10']}, even by {days['50']}, 8 in 10 by {days['80']}, "
        f"95 in 100 by {days['95']}."
    )
    hours = row.hours_needed
    yield (
        f"Hours at the bench: {hours['likely']:.0f} needed ({hours['low']:.0f} to {hours['high']:.0f}), "
        f"{row.hours_there:.0f} there are."
    )
    yield from row.notes


def _words(day: date) -> str:
    return f"{day:%-d %B %Y}"
