"""Who works when, at which bench."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class StaffMember(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=120)
    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="staff")
    skills = models.JSONField(default=list, help_text="Codes: examine, solvent, join, fill, retouch, photograph, mount")
    week = models.JSONField(
        default=list, help_text="Seven pairs [starts at hour, hours paid], Monday first; 0 hours: off"
    )
    bench_share = models.FloatField(default=0.65, help_text="Of paid hours, what reaches the bench")
    works_from = models.DateField(null=True, blank=True)
    works_to = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(bench_share__gt=0, bench_share__lte=1), name="bench_share_0_to_1")
        ]

    def __str__(self) -> str:
        return self.name


class Leave(models.Model):
    staff = models.ForeignKey(StaffMember, models.CASCADE, related_name="leave")
    first = models.DateField()
    last = models.DateField(help_text="Included")
    why = models.CharField(max_length=120, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(last__gte=F("first")), name="leave_ends_after_it_begins")]

    def __str__(self) -> str:
        return f"{self.first} to {self.last}"


class Holiday(models.Model):
    date = models.DateField(unique=True)
    name = models.CharField(max_length=120, blank=True)

    def __str__(self) -> str:
        return str(self.date)


class Workplace(models.Model):
    """Benches that only so many can use at once."""

    kind = models.CharField(
        max_length=16, unique=True, choices=[("hood", "Fume hoods"), ("bench", "Photography benches")]
    )
    count = models.PositiveSmallIntegerField(default=1)

    def __str__(self) -> str:
        return f"{self.count} {self.get_kind_display()}"
