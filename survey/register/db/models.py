"""Places, objects, exhibitions with their checklists, and the imports that brought them in."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q


class PlaceKind(models.TextChoices):
    SITE = "site", "Site"
    BUILDING = "building", "Building"
    ROOM = "room", "Room"
    BAY = "bay", "Bay"
    SHELF = "shelf", "Shelf"
    TRAY = "tray", "Tray"


class Place(models.Model):
    """Where objects stand; a tree in walking order."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    parent = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="children")
    kind = models.CharField(max_length=8, choices=PlaceKind.choices)
    name = models.CharField(max_length=120)
    position = models.PositiveIntegerField(default=1, help_text="Order along the walk among its siblings, from 1")
    path = models.CharField(
        max_length=200, unique=True, help_text="Positions from the root, each five digits and a dot; sorts as one walks"
    )
    full_name = models.CharField(max_length=400, help_text="Names from the root, for lists and labels")
    climate = models.CharField(max_length=40, blank=True, help_text="Class of climate; empty: as the place above")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["parent", "name"], name="place_name_once"),
            models.UniqueConstraint(fields=["name"], condition=Q(parent=None), name="place_root_name_once"),
        ]

    def __str__(self) -> str:
        return self.full_name


class Object(models.Model):
    """One object of the register. What is not recorded is empty, never zero."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    number = models.CharField(max_length=120, help_text="Accession number, as written")
    number_key = models.CharField(max_length=120, help_text="The number in one spelling, for finding it")
    simple_name = models.CharField(max_length=500, blank=True)
    title = models.TextField(blank=True)
    description = models.TextField(blank=True)
    material = models.TextField(blank=True)
    classification = models.CharField(max_length=500, blank=True)
    department = models.CharField(max_length=500, blank=True)
    body = models.CharField(
        max_length=20,
        blank=True,
        choices=[("earthenware", "Earthenware"), ("stoneware", "Stoneware"), ("porcelain", "Porcelain")],
        help_text="Ceramic body; empty if not known",
    )
    date_text = models.CharField(max_length=500, blank=True)
    date_earliest = models.IntegerField(null=True, blank=True, help_text="Year")
    date_latest = models.IntegerField(null=True, blank=True, help_text="Year")
    height_mm = models.FloatField(null=True, blank=True)
    width_mm = models.FloatField(null=True, blank=True)
    depth_mm = models.FloatField(null=True, blank=True)
    diameter_mm = models.FloatField(null=True, blank=True)
    mass_kg = models.FloatField(null=True, blank=True)
    credit_line = models.TextField(blank=True)
    acquired_on = models.CharField(max_length=500, blank=True)
    source_id = models.CharField(max_length=500, blank=True, help_text="Key in the register it came from")
    register_said = models.CharField(
        max_length=64, blank=True, help_text="Fingerprint of the row that the register last gave; empty: never imported"
    )
    significance = models.PositiveSmallIntegerField(null=True, blank=True, help_text="To the collection, 1 to 5")
    restriction = models.TextField(blank=True, help_text="Evidence to be kept, agreement needed: in words")
    # object_by_place begins with the place and serves the key as well.
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="holds", db_index=False)
    place_text = models.CharField(max_length=500, blank=True, help_text="Place as the register says it")
    withdrawn_at = models.DateTimeField(null=True, blank=True, help_text="Left the register; kept for its record")

    class Meta:
        constraints = [
            # Not unique=True: PostgreSQL would keep a second index for patterns that no list asks for.
            models.UniqueConstraint(fields=["number_key"], name="object_number_once"),
            models.CheckConstraint(condition=Q(significance__range=(1, 5)), name="object_significance_1_to_5"),
            *(
                models.CheckConstraint(condition=Q(**{f"{size}__gt": 0}), name=f"object_{size}_positive")
                for size in ("height_mm", "width_mm", "depth_mm", "diameter_mm", "mass_kg")
            ),
        ]
        indexes = [models.Index(fields=["place", "number_key"], name="object_by_place")]

    def __str__(self) -> str:
        return self.number


class SortingState(models.TextChoices):
    ASKED = "asked", "Waiting"
    DOING = "doing", "Being placed"
    DONE = "done", "Placed"
    UNDONE = "undone", "Undone"


class Sorting(models.Model):
    """One sorting of objects into places by the register's words: what was chosen, what is to stand where."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    choices = models.JSONField(default=dict, help_text="Site, separator, direction, kind of the smallest part")
    paths = models.JSONField(default=dict, help_text="Text of the register to [name, kind] from the site down")
    made = models.JSONField(default=list, help_text="Keys of the places that it made and that are still there")
    state = models.CharField(max_length=8, choices=SortingState.choices, default=SortingState.ASKED)
    counts = models.JSONField(default=dict, help_text="Objects and places, done and kept by undoing")
    job = models.ForeignKey("media.Job", models.SET_NULL, null=True, related_name="+")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    asked_at = models.DateTimeField()
    done_at = models.DateTimeField(null=True)
    undone_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"{self.asked_at:%Y-%m-%d} ({self.state})"


class ObjectMove(models.Model):
    """An object changed place; the newest row agrees with the object's place."""

    object = models.ForeignKey(Object, models.PROTECT, related_name="moves")
    from_place = models.ForeignKey(Place, models.PROTECT, null=True, related_name="moves_out")
    to_place = models.ForeignKey(Place, models.PROTECT, null=True, related_name="moves_in")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="object_moves")
    reason = models.CharField(max_length=300, blank=True)
    sorting = models.ForeignKey(
        Sorting, models.PROTECT, null=True, related_name="moves", db_index=False, help_text="Empty: moved by hand"
    )

    class Meta:
        indexes = [models.Index(fields=["sorting"], name="move_by_sorting", condition=Q(sorting__isnull=False))]

    def __str__(self) -> str:
        return f"{self.object_id} to {self.to_place_id}"


class Exhibition(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=200, unique=True)
    place_text = models.CharField(max_length=200, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True, help_text="No longer prepared for; kept for its record")

    def __str__(self) -> str:
        return self.name


class MilestoneKind(models.TextChoices):
    PHOTOGRAPHY = "photography", "Photography"
    MOUNT_MAKING = "mount_making", "Mount-making"
    CASE_CLOSING = "case_closing", "Case closing"
    OPENING = "opening", "Opening"
    END = "end", "End"


class Milestone(models.Model):
    exhibition = models.ForeignKey(Exhibition, models.CASCADE, related_name="milestones")
    kind = models.CharField(max_length=16, choices=MilestoneKind.choices)
    date = models.DateField()

    class Meta:
        ordering = ["date"]
        constraints = [models.UniqueConstraint(fields=["exhibition", "kind"], name="milestone_once")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.date}"


class Use(models.TextChoices):
    OPEN_MOUNT = "open_mount", "Open mount"
    CASE = "case", "In a case"
    HANDLED = "handled", "Handled"
    TRAVELS = "travels", "Travels"


class ChecklistEntry(models.Model):
    """An object meant for an exhibition. Taken off the list it keeps its row and its date of going."""

    exhibition = models.ForeignKey(Exhibition, models.PROTECT, related_name="entries")
    object = models.ForeignKey(Object, models.PROTECT, related_name="entries")
    section = models.CharField(max_length=120, blank=True)
    use = models.CharField(max_length=12, choices=Use.choices, default=Use.CASE)
    need_by = models.DateField(null=True, blank=True, help_text="Empty: as the exhibition's case closing")
    importance = models.PositiveSmallIntegerField(default=3, help_text="To the display, 1 to 5")
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "checklist entries"
        constraints = [
            models.UniqueConstraint(fields=["exhibition", "object"], name="checklist_object_once"),
            models.CheckConstraint(condition=Q(importance__range=(1, 5)), name="checklist_importance_1_to_5"),
        ]

    def __str__(self) -> str:
        return f"{self.object_id} in {self.exhibition_id}"


class RegisterSource(models.Model):
    """How files of one source are read; remembered by the set of their headings."""

    name = models.CharField(max_length=200, unique=True)
    fingerprint = models.CharField(max_length=64, blank=True, help_text="Of the headings")
    columns = models.JSONField(default=dict, help_text="Field of the register to heading of the file")
    options = models.JSONField(default=dict, help_text="Unit of sizes, zero as not recorded, rows to keep")

    def __str__(self) -> str:
        return self.name


class ImportState(models.TextChoices):
    RECEIVED = "received", "Received"
    LOOKED = "looked", "Looked through"
    APPLYING = "applying", "Being brought in"
    APPLIED = "applied", "Brought in"
    UNDONE = "undone", "Undone"
    REFUSED = "refused", "Refused"


class RegisterImport(models.Model):
    """One file from a registrar: what it would do, then what it did."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    source = models.ForeignKey(RegisterSource, models.PROTECT, null=True, related_name="imports")
    file_name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField(help_text="Bytes")
    columns = models.JSONField(default=dict)
    options = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=ImportState.choices, default=ImportState.RECEIVED)
    counts = models.JSONField(default=dict, help_text="Rows per verdict")
    error = models.TextField(blank=True)
    job = models.ForeignKey("media.Job", models.SET_NULL, null=True, related_name="+")
    received_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    received_at = models.DateTimeField()
    applied_at = models.DateTimeField(null=True)
    undone_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.file_name


class Verdict(models.TextChoices):
    CREATE = "create", "New"
    CHANGE = "change", "Changed"
    SAME = "same", "Unchanged"
    LEFT = "left", "Left out"
    REFUSED = "refused", "Refused"


class ImportRow(models.Model):
    """What one row of the file does, decided before anything is written and kept for undoing."""

    # The unique index on batch and line serves the key as well. Rows are written by their import's own job alone, and
    # asking for each of half a million whether its import exists costs as much as writing it.
    batch = models.ForeignKey(RegisterImport, models.CASCADE, related_name="rows", db_index=False, db_constraint=False)
    line = models.PositiveIntegerField(help_text="Row as a person counts it in the file")
    verdict = models.CharField(max_length=8, choices=Verdict.choices)
    number = models.CharField(max_length=120, blank=True)
    object_id = models.UUIDField(null=True, help_text="The object it makes or changes")
    fields = models.JSONField(default=dict, help_text="New: the values. Changed: field to [was, becomes]")
    reason = models.CharField(max_length=500, blank=True)
    kept = models.CharField(max_length=500, blank=True, help_text="Why undoing left what this row had done, or a part")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["batch", "line"], name="import_line_once")]
        # New and unchanged rows are the bulk of a file, and found quickly along its lines; the few others are not.
        indexes = [
            models.Index(
                fields=["batch", "verdict", "line"],
                name="import_rows_to_look_at",
                condition=Q(verdict__in=["change", "left", "refused"]),
            )
        ]

    def __str__(self) -> str:
        return f"{self.line}: {self.verdict}"
