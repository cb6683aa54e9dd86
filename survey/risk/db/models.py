"""Parameter sets, runs of the scoring, and the scores that each run made."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from survey.condition.db.models import Joint
from survey.register.db.models import Exhibition, Object, Place


class ParameterSet(models.Model):
    """Every number that the scoring assumes, named and numbered; scores always say which set made them."""

    number = models.PositiveIntegerField(unique=True)
    name = models.CharField(max_length=120)
    values = models.JSONField(default=dict, help_text="What differs from the shipped defaults")
    reason = models.TextField(blank=True)
    adopted_at = models.DateTimeField()
    adopted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class ParameterDraft(models.Model):
    """Changed values that are not in force yet, with what they would do to the ranking."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    base = models.ForeignKey(ParameterSet, models.PROTECT, related_name="+", help_text="In force when it was begun")
    values = models.JSONField(default=dict, help_text="What differs from the shipped defaults")
    like = models.ForeignKey(ParameterSet, models.PROTECT, null=True, related_name="+", help_text="An older set")
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    job = models.ForeignKey("media.Job", models.SET_NULL, null=True, related_name="+")
    effect = models.JSONField(null=True, help_text="On the ranking; empty while not worked out for these values")

    def __str__(self) -> str:
        return f"Draft on {self.base}"


class RiskRun(models.Model):
    """One scoring of everything. The newest finished run is what the pages show."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    parameters = models.ForeignKey(ParameterSet, models.PROTECT, related_name="runs")
    exhibition = models.ForeignKey(Exhibition, models.PROTECT, null=True, related_name="risk_runs")
    as_of = models.DateField(help_text="The day from which chances are reckoned")
    job = models.ForeignKey("media.Job", models.SET_NULL, null=True, related_name="+")
    began_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    counts = models.JSONField(default=dict)
    learned = models.JSONField(
        default=dict, help_text="What the whole collection taught: pace, habits of workshops, seed. Empty in old runs"
    )

    class Meta:
        indexes = [models.Index(fields=["-finished_at"], name="risk_run_latest")]

    def __str__(self) -> str:
        return f"Run of {self.as_of}"


class Band(models.TextChoices):
    """What a score asks for. The first is a rule about signs, or a surveyor's word; no average can hide it."""

    DO_NOT_LIFT = "do_not_lift", "Do not lift"
    BEFORE_MOVE = "before_move", "Before it is mounted or travels"
    BEFORE_OPENING = "before_opening", "Before opening if hours allow"
    MONITOR = "monitor", "Leave it and look again"
    NOT_SEEN = "not_seen", "Look at it first"


class ObjectRisk(models.Model):
    """One object in one run. Chances are of at least one joint letting go, 0 to 1, from the run's day."""

    run = models.ForeignKey(RiskRun, models.CASCADE, related_name="object_risks")
    object = models.ForeignKey(Object, models.PROTECT, related_name="risks")
    band = models.CharField(max_length=16, choices=Band.choices)
    band_order = models.PositiveSmallIntegerField(help_text="0: must not be lifted, before all others; 1: by score")
    before_opening = models.FloatField()
    before_opening_low = models.FloatField(
        help_text="5 % of the draws; in runs that learned nothing, under the most favourable of the named priors"
    )
    before_opening_high = models.FloatField(
        help_text="95 % of the draws; in runs that learned nothing, under the least favourable of the named priors"
    )
    before_milestones = models.JSONField(default=dict, help_text="Kind of milestone to chance")
    yearly = models.FloatField(help_text="Long-term chance per year without any move")
    loss = models.FloatField(help_text="Expected share of the object lost before opening; without significance")
    weighted_loss = models.FloatField(help_text="The same times significance and importance to the display")
    rank_by_loss = models.PositiveIntegerField(default=0)
    rank_by_weighted = models.PositiveIntegerField(default=0)
    ties = models.JSONField(
        default=dict, help_text="Order (weighted, loss) to first and last rank among which the draws cannot tell"
    )
    among_first = models.FloatField(
        null=True, help_text="Chance to be among the first that the bench can take, by weighted loss; empty: not drawn"
    )
    magnitude = models.JSONField(
        default=dict, help_text="A, B, C of the published logarithmic scales, low probable high"
    )
    worst_stage = models.PositiveSmallIntegerField(null=True)
    joints = models.PositiveIntegerField(default=0)
    reasons = models.JSONField(default=list, help_text="Sentences")
    on_checklist = models.BooleanField(default=False)
    warnings = models.JSONField(default=list, help_text="What in the record looks wrong and was scored all the same")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["run", "object"], name="object_scored_once")]
        indexes = [
            models.Index(fields=["run", "band_order", "-weighted_loss", "object"], name="ranking_with_significance"),
            models.Index(fields=["run", "band_order", "-loss", "object"], name="ranking_without_significance"),
        ]

    def __str__(self) -> str:
        return f"{self.object_id}: {self.before_opening:.2f}"


class ObjectDraws(models.Model):
    """What putting objects in order again, and learning on, needs of one object; kept for the newest run alone."""

    run = models.ForeignKey(RiskRun, models.CASCADE, related_name="draws")
    object = models.ForeignKey(Object, models.PROTECT, related_name="+")
    chances = models.BinaryField(help_text="One 16-bit number for each draw, in parts of 65,535")
    said = models.JSONField(
        default=list, help_text="[workshop, period, logarithms by class]: what its restorations say of habits"
    )

    class Meta:
        constraints = [models.UniqueConstraint(fields=["run", "object"], name="object_drawn_once")]

    def __str__(self) -> str:
        return f"Draws of {self.object_id}"


class JointRisk(models.Model):
    """One joint in one run."""

    run = models.ForeignKey(RiskRun, models.CASCADE, related_name="joint_risks")
    joint = models.ForeignKey(Joint, models.PROTECT, related_name="risks")
    object = models.ForeignKey(Object, models.PROTECT, related_name="+")
    before_opening = models.FloatField()
    before_milestones = models.JSONField(default=dict)
    stage = models.PositiveSmallIntegerField(null=True, help_text="As last seen")
    stage_chances = models.JSONField(default=list, help_text="Now, stages 0 to 4")
    class_chances = models.JSONField(default=dict, help_text="Adhesive class to chance")
    nitrate_ageing = models.FloatField(
        null=True, help_text="Chance to be of cellulose nitrate and past the sound stage today; empty in old runs"
    )
    move_share = models.FloatField(help_text="Of the chance, what the planned moves bring")
    assumed = models.JSONField(default=list, help_text="What was estimated and not measured")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["run", "joint"], name="joint_scored_once")]
        indexes = [
            models.Index(fields=["run", "object"], name="joint_risk_by_object"),
            models.Index(fields=["run", "-nitrate_ageing", "joint"], name="joint_risk_ageing_nitrate"),
        ]

    def __str__(self) -> str:
        return f"{self.joint_id}: {self.before_opening:.2f}"


class StepKind(models.TextChoices):
    """Ways to learn more of an object before deciding. A swab touches the joint; the last three take a sample."""

    LOOK = "look", "Look at it"
    UV = "uv", "Ultraviolet light"
    SOLVENT = "solvent", "Solvent swab"
    NITRATE_TEST = "nitrate_test", "Spot test for nitrate"
    PROTEIN_TEST = "protein_test", "Spot test for protein"
    FTIR = "ftir", "Infrared spectrum"


class NextList(models.Model):
    """What to look at next, worked out after a run; the newest finished one is what the page shows."""

    run = models.OneToOneField(RiskRun, models.CASCADE, related_name="next_list")
    made_at = models.DateTimeField(null=True, help_text="Empty while it is being worked out")
    counts = models.JSONField(default=dict, help_text="Looks, tests, objects left out of tests that touch")
    curve = models.JSONField(default=list, help_text="Hours, and the share of all worth gained by then")

    def __str__(self) -> str:
        return f"Next steps after {self.run_id}"


class NextStep(models.Model):
    """One look or test, with what it is expected to change before opening."""

    list = models.ForeignKey(NextList, models.CASCADE, related_name="steps")
    object = models.ForeignKey(Object, models.PROTECT, related_name="+")
    joint = models.ForeignKey(Joint, models.PROTECT, null=True, related_name="+", help_text="Empty for a look")
    kind = models.CharField(max_length=12, choices=StepKind.choices)
    best = models.BooleanField(help_text="The step of this object that is worth most for each minute")
    rate = models.FloatField(help_text="Worth for each minute; a number to order by")
    worth = models.FloatField(help_text="Expected weighted loss that a better choice saves")
    changes = models.FloatField(help_text="Chance that it changes what should be done before opening")
    minutes = models.FloatField()
    failing = models.FloatField(help_text="Failing or open joints that a look is expected to find")
    others = models.PositiveIntegerField(default=0, help_text="Other objects whose choice a test may change")
    text = models.TextField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["list", "object", "kind"], name="next_step_once")]
        indexes = [
            models.Index(fields=["list", "-rate", "id"], name="next_step_first"),
            models.Index(fields=["list", "kind", "-rate", "id"], name="next_step_of_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.object_id}"


class LoggerFileState(models.TextChoices):
    RECEIVED = "received", "Received"
    LOOKED = "looked", "Looked through"
    COUNTED = "counted", "Counts"
    UNDONE = "undone", "Taken back"
    REFUSED = "refused", "Refused"


class LoggerFile(models.Model):
    """A file of logged temperature and humidity. Kept by its hash; its readings count once a person says so."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    file_name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField(help_text="Bytes")
    state = models.CharField(max_length=10, choices=LoggerFileState.choices, default=LoggerFileState.RECEIVED)
    reading = models.JSONField(default=dict, help_text="Columns, units, order of day and month, decimal mark")
    stays = models.JSONField(default=list, help_text="[place, first day or null], in order of time: where it stood")
    counts = models.JSONField(default=dict, help_text="Rows, readings, refusals, first, last, gaps")
    refused = models.JSONField(default=list, help_text="The first rows refused: [row, reason]")
    error = models.TextField(blank=True)
    job = models.ForeignKey("media.Job", models.SET_NULL, null=True, related_name="+")
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    counted_at = models.DateTimeField(null=True)
    undone_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["-received_at", "-id"], name="logger_files_latest")]

    def __str__(self) -> str:
        return self.file_name


class LoggedMonth(models.Model):
    """What one file says of one place in one month: sums from which any constants give the mean rate of ageing."""

    file = models.ForeignKey(LoggerFile, models.CASCADE, related_name="months")
    place = models.ForeignKey(Place, models.PROTECT, related_name="logged_months")
    month = models.DateField(help_text="Its first day")
    readings = models.PositiveIntegerField()
    days = models.FloatField(help_text="Days that the readings speak for")
    sums = models.BinaryField(help_text="Sums of rate times days at the nodes of survey.risk.climate, 64-bit floats")
    temperature_days = models.FloatField(help_text="Sum of °C times days")
    temperature_low = models.FloatField(help_text="°C")
    temperature_high = models.FloatField(help_text="°C")
    humidity_days = models.FloatField(help_text="Sum of % times days")
    humidity_low = models.FloatField(help_text="%")
    humidity_high = models.FloatField(help_text="%")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["file", "place", "month"], name="logged_month_once")]
        indexes = [models.Index(fields=["place", "month"], name="logged_month_by_place")]

    def __str__(self) -> str:
        return f"{self.place_id} {self.month:%Y-%m}"


class OwnFit(models.Model):
    """Rates fitted to the department's own repeated surveys: a proposal, to be adopted as a parameter set or left."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    parameters = models.ForeignKey(ParameterSet, models.PROTECT, related_name="+", help_text="Whose beliefs held it")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    asked_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, help_text="Empty while it is being fitted")
    counts = models.JSONField(default=dict, help_text="Joints, looks and moves that it rests on")
    result = models.JSONField(null=True, help_text="Empty where there was too little to fit")
    proposed = models.JSONField(default=dict, help_text="What a parameter set would take from it")
    left_at = models.DateTimeField(null=True, help_text="When the head decided to leave it")
    left_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["-asked_at"], name="own_fit_latest")]

    def __str__(self) -> str:
        return f"Fit of {self.asked_at:%Y-%m-%d}"
