"""Levels of treatment, and which was chosen for an object."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from survey.register.db.models import Exhibition, Object


class LevelTable(models.Model):
    """One version of the department's levels and their steps; the newest is in use."""

    number = models.PositiveIntegerField(unique=True)
    body = models.JSONField(help_text="As treatments.options.steps reads it")
    reason = models.TextField(blank=True)
    adopted_at = models.DateTimeField()
    adopted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"Levels {self.number}"


class ChosenLevel(models.Model):
    """How far to go with one object for one exhibition; the newest row per object counts."""

    exhibition = models.ForeignKey(Exhibition, models.PROTECT, related_name="chosen_levels")
    object = models.ForeignKey(Object, models.PROTECT, related_name="chosen_levels")
    level = models.CharField(max_length=40, help_text="Code of a level")
    why = models.CharField(max_length=500, blank=True)
    look_again_on = models.DateField(null=True, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["exhibition", "object"], condition=models.Q(replaced_at=None), name="one_level_in_force"
            )
        ]

    def __str__(self) -> str:
        return f"{self.object_id}: {self.level}"
