"""Plan the work to opening day here and now, with a progress bar on a terminal."""

from __future__ import annotations

import json
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from media.base import jobs
from media.base.errors import FettleError
from media.base.models import JobState
from media.management.watching import Bar, ended
from media.templatetags.fettle import chance
from treatments.planning.db.models import Plan
from treatments.planning.db.services import SECONDS, start_plan

HELP = """Plan who does what and when for the coming exhibition: a level of treatment for each object, its sittings
over people, benches and waits, mandatory objects first and then the most expected loss removed. The same seed and time
limit give the same plan. It is kept and shown on the plan page. It supports a decision and makes none.

Example:
  manage.py plan
  manage.py plan --seconds 60 --seed 7 --json
"""


class Command(BaseCommand):
    help = HELP

    def create_parser(self, *args: Any, **kwargs: Any) -> Any:
        return super().create_parser(*args, formatter_class=RawDescriptionHelpFormatter, **kwargs)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--seconds", type=float, default=SECONDS, help=f"to search for (default {SECONDS:.0f})")
        parser.add_argument("--seed", type=int, default=0, help="of the search (default 0)")
        parser.add_argument("--json", action="store_true", help="print the outcome as one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            row, job = start_plan(by=None, at=timezone.now(), seconds=options["seconds"], seed=options["seed"])
        except FettleError as error:
            raise CommandError(error.message) from error
        with Bar(job.pk, self.stderr, of="per cent"):
            jobs.run(job.pk)
            job = ended(job)
        if job.state != JobState.DONE:
            raise CommandError(job.error or "The search was stopped before it was done; the best plan so far is kept.")
        row.refresh_from_db()
        for line in [json.dumps(_outcome(row))] if options["json"] else _lines(row):
            self.stdout.write(line)


def _outcome(row: Plan) -> dict[str, Any]:
    return {
        "plan": str(row.pk),
        "exhibition": row.exhibition.name,
        "seconds": row.seconds,
        "seed": row.seed,
        "share": row.share,
        "benefit": row.benefit,
        "bound": row.bound,
        "hours": row.hours,
        "objects": row.planned,
        "mandatory": row.mandatory,
        "mandatory_planned": row.mandatory_planned,
        "left_out": row.left_out,
    }


def _lines(row: Plan) -> Iterator[str]:
    yield f"Who does what for {row.exhibition}? Searched for {row.seconds:g} s, seed {row.seed}."
    yield (
        f"  {row.planned} objects, {row.hours:.0f} h at the bench: at least {chance(row.share)} of what is possible."
    )
    yield f"  {row.mandatory_planned} of {row.mandatory} objects that must be ready are planned."
    for left in row.left_out:
        what = f" It would take {left['hours']:g} h." if "hours" in left else ""
        yield f"  Left out: {left['number']} {left['reason']}.{what}"
