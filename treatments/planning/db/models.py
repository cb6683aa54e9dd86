"""Who works when, at which bench; and plans of who does what."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from survey.register.db.models import Exhibition, Object


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


class Plan(models.Model):
    """Who does what and when, for one exhibition, as found at one time. The newest that holds steps is shown."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    exhibition = models.ForeignKey(Exhibition, models.PROTECT, related_name="plans")
    replaces = models.ForeignKey(
        "self", models.SET_NULL, null=True, related_name="+", help_text="The plan that this one adapts to a change"
    )
    made_at = models.DateTimeField(help_text="When it was asked for: nothing is planned before")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    seconds = models.FloatField(help_text="Time limit of the search")
    seed = models.PositiveIntegerField()
    mandatory_weeks = models.FloatField(help_text="How far the dates of mandatory objects are brought forward")
    other_weeks = models.FloatField(help_text="The same for all others")
    kept_at = models.DateTimeField(null=True, help_text="When its first steps were there")
    finished_at = models.DateTimeField(null=True)
    benefit = models.FloatField(default=0)
    bound = models.FloatField(null=True, help_text="No plan is worth more; not known before the search ends")
    share = models.FloatField(null=True, help_text="Of what is possible")
    hours = models.FloatField(default=0, help_text="At the bench, planned")
    planned = models.PositiveIntegerField(default=0, help_text="Objects")
    mandatory = models.PositiveIntegerField(default=0, help_text="Objects that must be ready")
    mandatory_planned = models.PositiveIntegerField(default=0)
    left_out = models.JSONField(default=list, help_text="Per object: id, number, mandatory, reason, what it would take")
    moved = models.JSONField(default=list, help_text="Numbers of objects that lie elsewhere than in what it replaces")
    cut_short = models.BooleanField(default=False, help_text="Stopped, or out of time, before all moves were tried")
    job = models.ForeignKey("media.Job", models.SET_NULL, null=True, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["exhibition", "-kept_at"], name="plan_latest")]

    def __str__(self) -> str:
        return f"Plan of {self.made_at:%Y-%m-%d}"


class PlannedStep(models.Model):
    """One sitting: one person, one object, one step, without a break. Times are moments; the museum's own by zone."""

    plan = models.ForeignKey(Plan, models.CASCADE, related_name="steps")
    object = models.ForeignKey(Object, models.PROTECT, related_name="+")
    level = models.CharField(max_length=40)
    code = models.CharField(max_length=60, help_text="Of the sitting: place in the level, step, part")
    name = models.CharField(max_length=600)
    staff = models.ForeignKey(StaffMember, models.SET_NULL, null=True, related_name="+")
    starts = models.DateTimeField()
    ends = models.DateTimeField()
    wait_until = models.DateTimeField(null=True, help_text="Until when adhesive or filler sets")
    pinned_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["plan", "object", "code"], name="sitting_planned_once")]
        indexes = [models.Index(fields=["plan", "starts"], name="sittings_by_time")]

    def __str__(self) -> str:
        return f"{self.code} of {self.object_id}"


class LevelEffect(models.Model):
    """The department's own share of expected loss that a level of treatment removes."""

    level = models.CharField(max_length=40, unique=True)
    share = models.FloatField()
    grounds = models.CharField(max_length=600, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(share__gte=0, share__lte=1), name="effect_0_to_1")]

    def __str__(self) -> str:
        return f"{self.level}: {self.share:g}"


class CalendarAddress(models.Model):
    """A secret address under which one person's plan can be read by a calendar program."""

    staff = models.OneToOneField(StaffMember, models.CASCADE, related_name="calendar_address")
    token = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"Calendar of {self.staff_id}"


class HandMove(models.Model):
    """Sittings moved by hand in one go, as they lay before and after, so that it can be undone."""

    plan = models.ForeignKey(Plan, models.CASCADE, related_name="hand_moves")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    words = models.CharField(max_length=1000, help_text="What was moved, as it is said")
    before = models.JSONField(
        help_text="Per sitting: its key, staff, starts, ends, wait_until; and who had pinned what"
    )
    after = models.JSONField()
    undone_at = models.DateTimeField(null=True)
    undone_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["plan", "-id"], name="newest_hand_move")]

    def __str__(self) -> str:
        return self.words


class LockedWeek(models.Model):
    """A week in which nothing is moved any more, by hand or by planning again."""

    exhibition = models.ForeignKey(Exhibition, models.CASCADE, related_name="locked_weeks")
    monday = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["exhibition", "monday"], name="week_locked_once")]

    def __str__(self) -> str:
        return f"Week of {self.monday}"
