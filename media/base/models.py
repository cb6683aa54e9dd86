"""What every room stands on: people, events, jobs."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib.auth.models import AbstractUser, UserManager
from django.db import models
from django.db.models import Q


class Role(models.TextChoices):
    """Coarse rights, each holding those before it; ``access`` says what each may do."""

    READER = "reader", "Reader"
    SURVEYOR = "surveyor", "Surveyor"
    CONSERVATOR = "conservator", "Conservator"
    HEAD = "head", "Head of conservation"


class People(UserManager["User"]):
    """Makes people; whoever sets an installation up is its head of conservation until somebody else is."""

    use_in_migrations = False

    def create_superuser(
        self, username: str, email: str | None = None, password: str | None = None, **fields: Any
    ) -> User:
        return super().create_superuser(username, email, password, **{"role": Role.HEAD, **fields})


class User(AbstractUser):
    """A person who signs in, or who did work and only stands in the record."""

    objects = People()  # type: ignore[misc]  # narrower than what it takes the place of
    role = models.CharField(max_length=12, choices=Role.choices, default=Role.READER)

    @property
    def shown(self) -> str:
        """The name to print on records."""
        return self.get_full_name() or self.username


class Event(models.Model):
    """One change to one thing: who, when, what it was, what it became. Only ever added to."""

    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="events", help_text="Empty: Fettle itself")
    verb = models.CharField(max_length=40)
    subject_kind = models.CharField(max_length=60, help_text="Table of the thing changed, as app.model")
    subject_id = models.CharField(max_length=64)
    thread = models.CharField(max_length=64, blank=True, help_text="The object whose story this belongs to")
    was = models.JSONField(null=True)
    became = models.JSONField(null=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["thread", "-at"], name="event_thread"),
            models.Index(fields=["subject_kind", "subject_id"], name="event_subject"),
        ]

    def __str__(self) -> str:
        return f"{self.verb} {self.subject_kind} {self.subject_id}"


class JobState(models.TextChoices):
    """Where a job stands; the row is the truth, the broker only delivers."""

    QUEUED = "queued", "Waiting"
    RUNNING = "running", "Running"
    DONE = "done", "Done"
    FAILED = "failed", "Failed"
    CANCELLED = "cancelled", "Cancelled"


class Job(models.Model):
    """One piece of long work: claimed under a lease, resumed after a crash, finished once."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=80)
    title = models.CharField(max_length=200, blank=True, help_text="What a person reads while it runs")
    arguments = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=JobState.choices, default=JobState.QUEUED)
    owner = models.CharField(max_length=80, blank=True)
    lease_until = models.DateTimeField(null=True)
    delivered_at = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    cancel_asked = models.BooleanField(default=False)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(null=True, help_text="Empty while not known")
    saying = models.CharField(max_length=200, blank=True, help_text="What it is doing now")
    cursor = models.TextField(blank=True, help_text="How far it came, for resuming")
    result = models.JSONField(null=True)
    error = models.TextField(blank=True, help_text="One clear line for the person who asked")
    log = models.JSONField(default=list, help_text="Leases lost and attempts, oldest first")
    asked_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="jobs")
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["state", "lease_until"], name="job_open", condition=Q(state__in=["queued", "running"])
            ),
            models.Index(fields=["name", "-asked_at"], name="job_latest"),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.state})"

    @property
    def ended(self) -> bool:
        return self.state in {JobState.DONE, JobState.FAILED, JobState.CANCELLED}

    @property
    def share(self) -> float | None:
        """Done so far, 0 to 1; none while the total is not known."""
        return min(1.0, self.done / self.total) if self.total else None
