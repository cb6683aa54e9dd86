"""Fill an empty database with the invented museum, or put it back as it was."""

from __future__ import annotations

import shutil
from argparse import ArgumentParser
from datetime import date
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from fixtures.demo.loading import LOADED, Loading, key_id
from fixtures.demo.readings import GALLERY, build_readings
from fixtures.demo.scenario import SEED, Scenario, build
from media.base import jobs
from media.base.models import Event, Job, JobState, User
from media.management.commands.start import DEMO_PASSWORD
from media.management.watching import ended
from survey.models import Object, Place
from survey.risk.db import services as risk
from survey.risk.db.services import loggers
from treatments.forecast.db import services as forecast


class Command(BaseCommand):
    help = (
        "Load the invented museum: objects, restorations, surveys, an exhibition in 14 weeks, past treatments. "
        "Example: python3 manage.py demo --reset"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--if-empty", action="store_true", help="do nothing where there are objects already")
        parser.add_argument("--reset", action="store_true", help="delete the demo as it stands and load it anew")
        parser.add_argument("--yes", action="store_true", help="do not ask before deleting")
        parser.add_argument("--seed", type=int, default=SEED, help="another number makes another museum")
        parser.add_argument("--objects", type=int, default=2400, help="how many objects (400 or more)")
        parser.add_argument("--no-photographs", action="store_true", help="draw no photographs")

    def handle(self, *args: Any, **options: Any) -> None:
        if Object.objects.exists() or User.objects.exists():
            if options["if_empty"]:
                return
            if not options["reset"]:
                raise CommandError("this database is not empty. To load the demo anew: python3 manage.py demo --reset")
            self._clear(sure=options["yes"])
        self._load(options)

    def _clear(self, *, sure: bool) -> None:
        if not Event.objects.filter(verb=LOADED).exists():
            raise CommandError(
                "this database holds a register of your own, not the demo; nothing was deleted. "
                "Use another FETTLE_VAR or FETTLE_DATABASE for the demo."
            )
        if not sure and input("Delete everything in the demo and load it anew? Type yes: ").strip() != "yes":
            raise CommandError("nothing was deleted")
        call_command("flush", interactive=False, verbosity=0)
        shutil.rmtree(settings.MEDIA_ROOT, ignore_errors=True)

    def _load(self, options: dict[str, Any]) -> None:
        now = timezone.now()
        today = timezone.localdate(now)
        try:
            scenario = build(today, seed=options["seed"], objects=options["objects"])
        except ValueError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Loading {scenario.museum}, {scenario.town}: {len(scenario.objects)} objects ...")
        self.stdout.flush()
        call_command("defaults", verbosity=0)
        Loading(scenario, password=DEMO_PASSWORD, at=now).load()
        self._bring_in_loggers(scenario)
        self._score_and_forecast()
        if not options["no_photographs"]:
            jobs.enqueue(
                "treatments.demo_photographs", title="Drawing the demo's photographs", today=_text(today),
                seed=options["seed"], count=options["objects"],
            )  # fmt: skip

    def _bring_in_loggers(self, scenario: Scenario) -> None:
        """Three loggers: two count, the third waits for somebody to decide."""
        head, at = User.objects.get(username="head"), timezone.now()
        for logger in build_readings(scenario.today, scenario.seed):
            place = Place.objects.get(pk=key_id(scenario, logger.place))
            file = loggers.receive([logger.text.encode()], logger.name, place=place, by=head, at=at)
            file = loggers.look_through(file, reading=file.reading, stays=[(place, None)], by=head, at=at)
            jobs.run(file.job_id)
            if logger.place != GALLERY[0]:
                loggers.count(file, by=head, at=at)

    def _score_and_forecast(self) -> None:
        """Done here and now, so that the first page that anybody opens has its answers."""
        head = User.objects.get(username="head")
        self.stdout.write("Scoring its joints and forecasting opening day (longer the first time) ...")
        self.stdout.flush()
        for ask in (risk.start_run, forecast.start_forecast):
            _, job = ask(by=head, at=timezone.now())
            self._do(job.pk)
        for pk in Job.objects.filter(state=JobState.QUEUED).values_list("pk", flat=True):  # what the scoring asked for
            self._do(pk)

    def _do(self, pk: UUID) -> None:
        jobs.run(pk)
        job = ended(Job.objects.get(pk=pk))
        if job.state != JobState.DONE:
            raise CommandError(f"the demo is loaded, but this failed: {job.title}. {job.error}")


def _text(day: date) -> str:
    return day.isoformat()
