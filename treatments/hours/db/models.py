"""Treatments and the hours that they really took."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from survey.register.db.models import Exhibition, Object


class Treatment(models.Model):
    """One treatment of one object, from its first logged hour to its last."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    object = models.ForeignKey(Object, models.PROTECT, related_name="treatments")
    exhibition = models.ForeignKey(Exhibition, models.PROTECT, null=True, blank=True, related_name="treatments")
    level = models.CharField(max_length=40)
    drivers = models.JSONField(default=dict, help_text="Joints, lengths, areas, sherds when it was estimated")
    estimate = models.JSONField(default=dict, help_text="Step code to [low, likely, high] hours")
    began_on = models.DateField(null=True, blank=True)
    finished_on = models.DateField(null=True, blank=True)
    surprise = models.BooleanField(
        null=True, blank=True, help_text="Taking down showed what nobody expected and what adds work; empty: not said"
    )
    surprise_note = models.CharField(max_length=500, blank=True)

    def __str__(self) -> str:
        return f"{self.level} of {self.object_id}"


class LoggedTimes(models.QuerySet["LoggedTime"]):
    def standing(self) -> LoggedTimes:
        """What counts: neither corrected nor taken out."""
        return self.filter(corrected_by=None, taken_out_at=None)


class LoggedTime(models.Model):
    """Hours that one person worked on one step. A correction ends the old row and names it.

    Either a sitting with both moments, or a day's hours on that step written down afterwards, without them.
    """

    treatment = models.ForeignKey(Treatment, models.PROTECT, related_name="logged")
    step = models.CharField(max_length=40, help_text="Code of the step")
    worker = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="logged")
    on = models.DateField()
    hours = models.FloatField()
    note = models.CharField(max_length=500, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="corrected_by")
    at = models.DateTimeField(help_text="When it was written down")
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    step_done = models.BooleanField(default=False, help_text="The step was finished with this sitting")
    taken_out_at = models.DateTimeField(null=True, blank=True, help_text="When it was struck as wrong")

    objects = LoggedTimes.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(hours__gt=0, hours__lte=24), name="logged_hours_within_a_day"),
            models.CheckConstraint(
                condition=Q(started_at=None, ended_at=None)
                | Q(started_at__isnull=False, ended_at__isnull=False, ended_at__gt=F("started_at")),
                name="logged_sitting_ends_after_it_begins",
            ),
        ]
        indexes = [
            models.Index(fields=["step"], name="logged_by_step"),
            models.Index(fields=["worker", "-on"], name="logged_by_worker"),
        ]

    def __str__(self) -> str:
        return f"{self.step}: {self.hours} h"


class RunningClock(models.Model):
    """Work that goes on now, one for each person at most. It is a row, so no reload or dead tablet loses it."""

    worker = models.OneToOneField(settings.AUTH_USER_MODEL, models.PROTECT, related_name="clock")
    object = models.ForeignKey(Object, models.PROTECT, related_name="clocks")
    step = models.CharField(max_length=40, help_text="Code of the step")
    started_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.step} of {self.object_id} since {self.started_at}"


class EstimateFactor(models.Model):
    """What estimates are multiplied by until the department's own finished treatments tell; the newest counts."""

    factor = models.FloatField()
    reason = models.CharField(max_length=500)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(factor__gte=0.2, factor__lte=5), name="estimate_factor_02_to_5")
        ]

    def __str__(self) -> str:
        return f"{self.factor:g}"
