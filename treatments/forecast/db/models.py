"""Forecasts to opening day, kept so that the curve over the weeks can be seen."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from survey.register.db.models import Exhibition, Object


class Forecast(models.Model):
    """One simulation of the work to opening day, with its seed and what it assumed."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    exhibition = models.ForeignKey(Exhibition, models.PROTECT, related_name="forecasts")
    as_of = models.DateField()
    seed = models.PositiveIntegerField()
    trials = models.PositiveIntegerField()
    assumptions = models.JSONField(default=dict, help_text="Bias and scatter, order of work, factor on hours")
    hours_needed = models.JSONField(default=dict, help_text="low, likely, high")
    hours_there = models.FloatField(default=0)
    weeks = models.JSONField(default=list, help_text="Per week: Monday, hours there, hours planned")
    chances = models.JSONField(default=dict, help_text="Kind of milestone to chance that all due by it are ready")
    chance_all = models.FloatField(null=True)
    finish = models.JSONField(default=dict, help_text="10, 50, 80, 90, 95 % dates")
    curve = models.JSONField(default=list, help_text="Date and chance that everything is ready by then")
    expected_late = models.FloatField(null=True, help_text="Objects")
    counts = models.JSONField(
        default=list, help_text="Per week: date, objects with work that are ready by then, 10, 50, 90 % of futures"
    )
    done = models.PositiveIntegerField(default=0, help_text="Objects whose treatment was finished when it was made")
    critical = models.JSONField(default=dict, help_text="people and objects that most often decide when all is ready")
    buffers = models.JSONField(default=list, help_text="Per date: when all due by it is ready, 50, 80, 95 % of futures")
    notes = models.JSONField(default=list, help_text="What could not be placed and why, in words")
    job = models.ForeignKey("media.Job", models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["exhibition", "-finished_at"], name="forecast_latest")]

    def __str__(self) -> str:
        return f"Forecast of {self.as_of}"


class ObjectForecast(models.Model):
    """One object of the checklist in one forecast."""

    forecast = models.ForeignKey(Forecast, models.CASCADE, related_name="object_forecasts")
    object = models.ForeignKey(Object, models.PROTECT, related_name="+")
    level = models.CharField(max_length=40)
    hours = models.FloatField(help_text="Likely")
    need_by = models.DateField()
    late = models.FloatField(help_text="Chance of being later than its date")
    ready_10 = models.DateField(null=True)
    ready_50 = models.DateField(null=True)
    ready_90 = models.DateField(null=True)
    cause = models.CharField(max_length=200, blank=True, help_text="What most often keeps it")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["forecast", "object"], name="object_forecast_once")]
        indexes = [models.Index(fields=["forecast", "-late", "object"], name="most_likely_late")]

    def __str__(self) -> str:
        return f"{self.object_id}: {self.late:.2f}"


class Mishap(models.Model):
    """What the forecast assumes to come between; the newest counts."""

    sick_days = models.FloatField(help_text="Working days that a person is ill in a year")
    spell_days = models.FloatField(help_text="Days that an illness lasts on average")
    surprise = models.FloatField(help_text="Chance that taking down brings a surprise, before any was recorded")
    surprise_weight = models.FloatField(help_text="How many recorded objects that chance is worth")
    surprise_extra = models.FloatField(help_text="Share that a surprise adds to the steps after it")
    reason = models.CharField(max_length=500)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"{self.sick_days:g} days ill, {self.surprise:.0%} surprises"
