"""Previous restorations with their joints, fills and overpaint, and what surveys saw of them."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from survey.register.db.models import Object, Place


class Adhesive(models.TextChoices):
    """Classes met on ceramics, by generic name; empty where nobody has said."""

    ANIMAL_GLUE = "animal_glue", "Animal glue"
    NATURAL_RESIN = "natural_resin", "Natural resin (shellac)"
    CELLULOSE_NITRATE = "cellulose_nitrate", "Cellulose nitrate"
    RUBBER_CEMENT = "rubber_cement", "Rubber cement"
    PVAC = "pvac", "Poly(vinyl acetate)"
    EPOXY = "epoxy", "Epoxy"
    CYANOACRYLATE = "cyanoacrylate", "Cyanoacrylate"
    POLYESTER = "polyester", "Polyester"
    ACRYLIC = "acrylic", "Acrylic copolymer"
    PLASTER_CEMENT = "plaster_cement", "Plaster or cement"
    MECHANICAL = "mechanical", "Mechanical (rivets, wire, dowel)"


class Basis(models.TextChoices):
    """What an identification rests on, weakest first."""

    DATE = "date", "Date and hand"
    LOOK = "look", "Look"
    UV = "uv", "Ultraviolet fluorescence"
    SOLVENT = "solvent", "Solvent swab"
    SPOT_TEST = "spot_test", "Spot test"
    RECORD = "record", "Written record of this object"
    FTIR = "ftir", "Instrumental analysis (FTIR)"


class Workshop(models.Model):
    """A former restorer or firm whose work shares habits and adhesive."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=200, unique=True)
    active_from = models.IntegerField(null=True, blank=True, help_text="Year")
    active_to = models.IntegerField(null=True, blank=True, help_text="Year")
    habits = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.name


class Restoration(models.Model):
    """One campaign of old work on one object; who and when are often only 'about'."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    object = models.ForeignKey(Object, models.PROTECT, related_name="restorations")
    workshop = models.ForeignKey(Workshop, models.PROTECT, null=True, blank=True, related_name="restorations")
    date_text = models.CharField(max_length=80, blank=True)
    year_earliest = models.IntegerField(null=True, blank=True)
    year_latest = models.IntegerField(null=True, blank=True)
    notes = models.TextField(blank=True)

    def __str__(self) -> str:
        return f"Restoration of {self.object_id} {self.date_text}"


class Joint(models.Model):
    """Where two sherds meet. It persists across surveys; what was seen of it is a ``JointSeen``."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="joints")
    label = models.CharField(max_length=12, help_text="J1, J2 … on the object")
    part = models.CharField(max_length=80, blank=True, help_text="Where on the object: foot, rim, handle")
    length_mm = models.FloatField(null=True, blank=True, help_text="Along the break; empty if not measured")
    wall_mm = models.FloatField(null=True, blank=True, help_text="Wall thickness; empty if not measured")
    lever_mm = models.FloatField(null=True, blank=True, help_text="Overhang of what hangs on it; empty if not measured")
    held_mass_kg = models.FloatField(null=True, blank=True, help_text="Mass that hangs on it; empty if not known")
    structural = models.BooleanField(null=True, help_text="Carries weight or a projecting part; empty if not known")
    adhesive = models.CharField(max_length=20, choices=Adhesive.choices, blank=True, help_text="Empty: not said")
    basis = models.CharField(max_length=12, choices=Basis.choices, blank=True, help_text="Of the adhesive; empty: none")
    ended_at = models.DateTimeField(null=True, blank=True, help_text="Taken down: a new joint takes its place")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["restoration", "label"], name="joint_label_once"),
            models.CheckConstraint(
                condition=Q(adhesive="", basis="") | (~Q(adhesive="") & ~Q(basis="")), name="joint_adhesive_has_basis"
            ),
            *(
                models.CheckConstraint(condition=Q(**{f"{size}__gt": 0}), name=f"joint_{size}_positive")
                for size in ("length_mm", "wall_mm", "lever_mm", "held_mass_kg")
            ),
        ]

    def __str__(self) -> str:
        return self.label


class AdhesiveEvidence(models.Model):
    """One finding about a joint's adhesive: an observation, apart from what anybody concludes."""

    joint = models.ForeignKey(Joint, models.PROTECT, related_name="evidence")
    basis = models.CharField(max_length=12, choices=Basis.choices)
    finding = models.CharField(max_length=40, help_text="Code of the finding within its kind")
    note = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"{self.basis}: {self.finding}"


class Fill(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="fills")
    label = models.CharField(max_length=12)
    part = models.CharField(max_length=80, blank=True)
    material = models.CharField(
        max_length=12,
        blank=True,
        choices=[("plaster", "Plaster"), ("wax", "Wax"), ("putty", "Putty"), ("resin", "Bulked resin paste")],
        help_text="Empty if not known",
    )
    area_cm2 = models.FloatField(null=True, blank=True, help_text="Empty if not measured")
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["restoration", "label"], name="fill_label_once"),
            models.CheckConstraint(condition=Q(area_cm2__gt=0), name="fill_area_positive"),
        ]

    def __str__(self) -> str:
        return self.label


class Overpaint(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="overpaints")
    label = models.CharField(max_length=12)
    part = models.CharField(max_length=80, blank=True)
    area_cm2 = models.FloatField(null=True, blank=True, help_text="Empty if not measured")
    over_original = models.BooleanField(null=True, help_text="Spreads over original surface; empty if not known")
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["restoration", "label"], name="overpaint_label_once"),
            models.CheckConstraint(condition=Q(area_cm2__gt=0), name="overpaint_area_positive"),
        ]

    def __str__(self) -> str:
        return self.label


class SurveyRound(models.Model):
    """One survey with its purpose, and the definitions it was made under."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=200, unique=True)
    purpose = models.TextField(blank=True)
    started_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    definitions = models.PositiveIntegerField(help_text="Version of grades and terms used")

    def __str__(self) -> str:
        return self.name


class Grade(models.TextChoices):
    """The four steps of the published audit method; 'not seen' and 'not known' are answers of their own."""

    GOOD = "good", "Good"
    FAIR = "fair", "Fair"
    POOR = "poor", "Poor"
    UNACCEPTABLE = "unacceptable", "Unacceptable"
    NOT_SEEN = "not_seen", "Not seen"
    NOT_KNOWN = "not_known", "Not known"


class Answer(models.TextChoices):
    PRESENT = "present", "Present"
    NONE = "none", "None"
    NOT_SEEN = "not_seen", "Not seen"
    NOT_KNOWN = "not_known", "Not known"


class Found(models.TextChoices):
    HERE = "here", "Where it should be"
    ELSEWHERE = "elsewhere", "Found elsewhere"
    MISSING = "missing", "Not found"


class Handling(models.TextChoices):
    FREE = "free", "May be lifted"
    CARE = "care", "Lift with care, two hands"
    DO_NOT_LIFT = "do_not_lift", "Do not lift"
    NOT_KNOWN = "not_known", "Not known"


class Visit(models.TextChoices):
    ROUND = "round", "In the round"
    LOOKED_BAD = "looked_bad", "Because something looked bad"
    INCIDENT = "incident", "After an incident or a move"


class Assessment(models.Model):
    """What one person found on one object at one time. Finished, it is frozen; a correction names the old one."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    object = models.ForeignKey(Object, models.PROTECT, related_name="assessments")
    round = models.ForeignKey(SurveyRound, models.PROTECT, null=True, blank=True, related_name="assessments")
    surveyor = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="assessments")
    corrects = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="corrections")
    definitions = models.PositiveIntegerField(help_text="Version of grades and terms used")
    visit = models.CharField(max_length=12, choices=Visit.choices, default=Visit.ROUND)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    found = models.CharField(max_length=10, choices=Found.choices, default=Found.HERE)
    place_found = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    old_restoration = models.CharField(
        max_length=10, choices=Answer.choices, blank=True, help_text="Empty: not asked yet"
    )
    instability = models.CharField(max_length=12, choices=Grade.choices, blank=True)
    damage = models.CharField(max_length=12, choices=Grade.choices, blank=True)
    disfigurement = models.CharField(max_length=12, choices=Grade.choices, blank=True)
    handling = models.CharField(max_length=12, choices=Handling.choices, blank=True)
    observation = models.TextField(blank=True, help_text="What was seen")
    interpretation = models.TextField(blank=True, help_text="What it is taken to mean")

    class Meta:
        indexes = [
            models.Index(fields=["object", "-finished_at"], name="assessment_latest"),
            models.Index(fields=["round", "object"], name="assessment_in_round"),
        ]

    def __str__(self) -> str:
        return f"Assessment of {self.object_id} at {self.started_at:%Y-%m-%d}"


class JointSeen(models.Model):
    """One joint in one assessment. Stage 0 sound, 1 ageing, 2 failing adhesive, 3 failing joint, 4 open."""

    assessment = models.ForeignKey(Assessment, models.PROTECT, related_name="joints_seen")
    joint = models.ForeignKey(Joint, models.PROTECT, related_name="seen")
    stage = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Empty: not seen or not known")
    answer = models.CharField(
        max_length=10, choices=[("seen", "Seen"), ("not_seen", "Not seen"), ("not_known", "Not known")], default="seen"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["assessment", "joint"], name="joint_seen_once"),
            models.CheckConstraint(condition=Q(stage__range=(0, 4)), name="joint_stage_0_to_4"),
            models.CheckConstraint(
                condition=Q(answer="seen", stage__isnull=False) | (~Q(answer="seen") & Q(stage__isnull=True)),
                name="joint_stage_only_if_seen",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.joint_id}: {self.stage}"


class Sign(models.Model):
    """One sign on one joint, fill or overpaint of an assessment, with how far it runs."""

    assessment = models.ForeignKey(Assessment, models.PROTECT, related_name="signs")
    joint = models.ForeignKey(Joint, models.PROTECT, null=True, blank=True, related_name="signs")
    fill = models.ForeignKey(Fill, models.PROTECT, null=True, blank=True, related_name="signs")
    overpaint = models.ForeignKey(Overpaint, models.PROTECT, null=True, blank=True, related_name="signs")
    code = models.CharField(max_length=20, help_text="Of the definitions: edge_lifting, gap, movement …")
    answer = models.CharField(max_length=10, choices=Answer.choices)
    extent_percent = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Of length or area; empty: not said"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=(
                    Q(joint__isnull=False, fill__isnull=True, overpaint__isnull=True)
                    | Q(joint__isnull=True, fill__isnull=False, overpaint__isnull=True)
                    | Q(joint__isnull=True, fill__isnull=True, overpaint__isnull=False)
                ),
                name="sign_on_one_thing",
            ),
            models.CheckConstraint(condition=Q(extent_percent__range=(0, 100)), name="sign_extent_0_to_100"),
        ]

    def __str__(self) -> str:
        return f"{self.code}: {self.answer}"


class ObjectPhotograph(models.Model):
    """A photograph of an object, taken in an assessment or apart from one."""

    object = models.ForeignKey(Object, models.PROTECT, related_name="photographs")
    assessment = models.ForeignKey(Assessment, models.PROTECT, null=True, blank=True, related_name="photographs")
    photograph = models.ForeignKey("media.Photograph", models.PROTECT, related_name="+")
    view = models.CharField(max_length=40, blank=True, help_text="Front, inside, foot …")
    moment = models.CharField(
        max_length=8,
        default="survey",
        choices=[("survey", "Survey"), ("before", "Before"), ("during", "During"), ("after", "After")],
    )
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"{self.object_id} {self.view}"
