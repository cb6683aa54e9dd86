"""What-if scenarios, and what the least is that must give way."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from survey.register.db.models import Exhibition


class Scenario(models.Model):
    """Changes that somebody thinks of, and what would come of them. The record itself is not touched."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    exhibition = models.ForeignKey(Exhibition, models.CASCADE, related_name="scenarios")
    name = models.CharField(max_length=80)
    changes = models.JSONField(
        default=dict, help_text="person, drop, drop_upto, simplify, simplify_upto, dates, make_good"
    )
    made_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["exhibition", "made_at"], name="scenarios_in_order")]

    def __str__(self) -> str:
        return self.name


class Comparison(models.Model):
    """The record as it is and all scenarios, reckoned at one time with the same draws."""

    exhibition = models.ForeignKey(Exhibition, models.CASCADE, related_name="comparisons")
    made_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    seed = models.PositiveIntegerField()
    trials = models.PositiveIntegerField()
    results = models.JSONField(default=list, help_text="The record as it is, then each scenario")
    finished_at = models.DateTimeField(null=True)
    job = models.ForeignKey("media.Job", models.SET_NULL, null=True, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["exhibition", "-made_at"], name="newest_comparison")]

    def __str__(self) -> str:
        return f"Comparison of {self.made_at:%Y-%m-%d}"


class GivingWay(models.Model):
    """One search for the least that must give way."""

    exhibition = models.ForeignKey(Exhibition, models.CASCADE, related_name="+")
    target = models.FloatField()
    measure = models.CharField(max_length=8, default="opening", help_text="opening, or dates: all dates")
    allowed = models.JSONField(default=list, help_text="make_good, simplify, drop, mandatory")
    made_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    seed = models.PositiveIntegerField()
    trials = models.PositiveIntegerField()
    result = models.JSONField(default=dict)
    finished_at = models.DateTimeField(null=True)
    job = models.ForeignKey("media.Job", models.SET_NULL, null=True, related_name="+")

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(target__gt=0, target__lt=1), name="target_is_a_chance")]
        indexes = [models.Index(fields=["exhibition", "-made_at"], name="newest_giving_way")]

    def __str__(self) -> str:
        return f"Least for {self.target:.0%}"
