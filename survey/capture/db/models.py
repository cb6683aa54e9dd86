"""What tablets sent, as it came; what each of their own names means here; and where people disagree."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from survey.condition.db.models import Assessment
from survey.register.db.models import Object


class Device(models.Model):
    """One tablet (one browser on it), by the id that it made for itself."""

    id = models.UUIDField(primary_key=True)
    name = models.CharField(max_length=80, blank=True)
    first_seen_at = models.DateTimeField()
    last_seen_at = models.DateTimeField()
    last_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    unsent = models.PositiveIntegerField(default=0, help_text="Operations and photographs left, as it last said")
    clock_ahead_seconds = models.FloatField(null=True, help_text="Its clock minus the server's at last contact")

    def __str__(self) -> str:
        return self.name or str(self.id)[:8]


class State(models.TextChoices):
    APPLIED = "applied", "Taken in"
    HELD = "held", "Waits for a person"
    REFUSED = "refused", "Cannot be read"
    SET_ASIDE = "set_aside", "Set aside"


class Operation(models.Model):
    """One operation as it came, whatever became of it. ``id`` is the server's own order."""

    uuid = models.UUIDField(null=True, help_text="Made by the tablet; empty if it could not be read")
    device = models.ForeignKey(Device, models.PROTECT, null=True, related_name="operations")
    sequence = models.PositiveBigIntegerField(null=True, help_text="Place in the tablet's own order")
    schema_version = models.PositiveIntegerField(null=True)
    kind = models.CharField(max_length=20, blank=True)
    object_ref = models.UUIDField(null=True, help_text="The object as the tablet names it")
    object = models.ForeignKey(Object, models.PROTECT, null=True, related_name="operations")
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="operations")
    delivered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    body_hash = models.CharField(max_length=64, help_text="SHA-256 of the canonical JSON of all of it")
    raw = models.TextField(help_text="Canonical JSON of what came")
    received_at = models.DateTimeField()
    happened_at = models.DateTimeField(null=True, help_text="When it was made, by the server's clock, as near as known")
    state = models.CharField(max_length=10, choices=State.choices)
    reason = models.CharField(max_length=500, blank=True, help_text="Why it waits or was refused")
    waits_for = models.UUIDField(null=True, help_text="The name of a thing that must come first")
    clash = models.BooleanField(
        default=False, help_text="Same id with another body, or same place in the tablet's order with another id"
    )
    assessment = models.OneToOneField(Assessment, models.PROTECT, null=True, related_name="operation")
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    decided_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["uuid"], condition=Q(clash=False), name="operation_once"),
            models.UniqueConstraint(fields=["device", "sequence"], condition=Q(clash=False), name="operation_in_order"),
            models.UniqueConstraint(fields=["uuid", "body_hash"], name="operation_body_once"),
            models.UniqueConstraint(fields=["body_hash"], condition=Q(uuid=None), name="operation_unread_once"),
        ]
        indexes = [
            models.Index(fields=["object", "kind"], name="operation_of_object"),
            models.Index(fields=["waits_for"], name="operation_waiting", condition=Q(waits_for__isnull=False)),
            models.Index(fields=["state", "id"], name="operation_open", condition=Q(state__in=["held", "refused"])),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.sequence} of {self.device_id}"


class Made(models.Model):
    """A thing that a tablet named before the server knew it, and its row here."""

    client_id = models.UUIDField(primary_key=True)
    kind = models.CharField(max_length=12, help_text="object, restoration, joint, fill, overpaint")
    row_id = models.UUIDField()
    operation = models.ForeignKey(Operation, models.PROTECT, related_name="made")

    def __str__(self) -> str:
        return f"{self.kind} {self.row_id}"


class Field(models.Model):
    """One lasting fact that tablets have spoken of: a joint's length, an object's place."""

    object = models.ForeignKey(Object, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=12, help_text="object, joint, fill, overpaint")
    thing = models.UUIDField()
    name = models.CharField(max_length=20)
    shown = models.JSONField(null=True, help_text="What was last written; another value was written at a desk")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["thing", "name"], name="field_once")]

    def __str__(self) -> str:
        return f"{self.name} of {self.kind} {self.thing}"


class FieldEdit(models.Model):
    """One edit of a field: by an operation, at a desk, or by deciding a disagreement."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4, help_text="That of the operation, if one made it")
    field = models.ForeignKey(Field, models.PROTECT, related_name="edits")
    operation = models.OneToOneField(Operation, models.PROTECT, null=True, related_name="edit")
    value = models.JSONField(null=True)
    after = models.JSONField(default=list, help_text="Ids of the edits that its author knew")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.field_id}: {self.value}"


class Standing(models.TextChoices):
    OPEN = "open", "To be decided"
    DECIDED = "decided", "Decided"
    SETTLED = "settled", "Settled by what came later"


class Conflict(models.Model):
    """A disagreement between people who did not know of each other; both sides are kept, a person decides."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=8, choices=[("field", "A fact"), ("parts", "Parts")])
    key = models.CharField(max_length=100, help_text="What it is about, in one spelling")
    object = models.ForeignKey(Object, models.PROTECT, related_name="conflicts")
    field = models.ForeignKey(Field, models.PROTECT, null=True, related_name="conflicts")
    sides = models.JSONField(default=list, help_text="Per side: edit or operation, value, who")
    state = models.CharField(max_length=8, choices=Standing.choices, default=Standing.OPEN)
    opened_at = models.DateTimeField()
    decision = models.JSONField(null=True, help_text="What was decided")
    note = models.CharField(max_length=500, blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    decided_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["key"], condition=Q(state="open"), name="conflict_open_once")]
        indexes = [models.Index(fields=["state", "opened_at"], name="conflict_open")]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


class PhotographWanted(models.Model):
    """A photograph that an operation names: attached once its bytes are here."""

    operation = models.ForeignKey(Operation, models.PROTECT, related_name="photographs_wanted")
    sha256 = models.CharField(max_length=64, db_index=True)
    view = models.CharField(max_length=40, blank=True)
    attached_at = models.DateTimeField(null=True)
    refused = models.CharField(max_length=300, blank=True, help_text="Why its bytes were not taken")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["operation", "sha256"], name="photograph_wanted_once")]

    def __str__(self) -> str:
        return self.sha256[:12]
