"""Treatments and the hours that they really took."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

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

    def __str__(self) -> str:
        return f"{self.level} of {self.object_id}"


class LoggedTime(models.Model):
    """Hours that one person worked on one step. A correction ends the old row and names it."""

    treatment = models.ForeignKey(Treatment, models.PROTECT, related_name="logged")
    step = models.CharField(max_length=40, help_text="Code of the step")
    worker = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="logged")
    on = models.DateField()
    hours = models.FloatField()
    note = models.CharField(max_length=500, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="corrected_by")
    at = models.DateTimeField(help_text="When it was written down")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(hours__gt=0, hours__lte=24), name="logged_hours_within_a_day")
        ]
        indexes = [models.Index(fields=["step"], name="logged_by_step")]

    def __str__(self) -> str:
        return f"{self.step}: {self.hours} h"
