"""What the ranking says in one sentence and one picture, and whether it is still up to date."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Exists, F, FloatField, OuterRef, Q
from django.db.models.functions import Floor

from media.base.models import Event, Job, JobState
from survey.condition.db.models import Assessment, Joint
from survey.condition.db.selectors import standing
from survey.register.db.models import ChecklistEntry, Exhibition
from survey.risk.db.models import Band, ObjectRisk, ParameterSet, RiskRun
from survey.risk.db.selectors.ranking import Wanted, found, in_run
from survey.risk.parameters import read

BINS = 20
RUN_JOB = "survey.risk.run"


@dataclass(frozen=True)
class Answer:
    """Numbers of the one sentence; ``listed`` and what follows are about the run's checklist."""

    scored: int
    do_not_lift: int
    listed: int
    listed_scored: int
    listed_do_not_lift: int
    listed_likely: int
    listed_not_surveyed: int
    likely: float


def answer(run: RiskRun) -> Answer:
    """What the ranking comes to. Three queries."""
    not_lifted, likely = Q(band=Band.DO_NOT_LIFT), read(run.parameters.values).thresholds.likely
    counts = in_run(run).aggregate(scored=Count("pk"), do_not_lift=Count("pk", filter=not_lifted))
    on_list = ChecklistEntry.objects.filter(exhibition=run.exhibition, removed_at=None).values("object")
    listed = in_run(run).filter(object__in=on_list).aggregate(
        listed_scored=Count("pk"),
        listed_do_not_lift=Count("pk", filter=not_lifted),
        listed_likely=Count("pk", filter=Q(before_opening__gt=likely)),
    )  # fmt: skip
    entries = ChecklistEntry.objects.filter(
        exhibition=run.exhibition, removed_at=None, object__withdrawn_at=None
    ).aggregate(
        listed=Count("pk"),
        listed_not_surveyed=Count(
            "pk",
            filter=~Exists(ObjectRisk.objects.filter(run=run, object=OuterRef("object_id")))
            & ~Exists(standing().filter(object=OuterRef("object_id"))),
        ),
    )
    return Answer(**counts, **listed, **entries, likely=likely)


@dataclass(frozen=True)
class Bead:
    """Objects whose chance falls into one stretch of the line; ``at`` 0 to 100 along it, ``radius`` in pixels."""

    at: float
    radius: float
    count: int
    low: int
    high: int


@dataclass(frozen=True)
class BandLine:
    """One band in the picture: how many objects, and where their chances lie."""

    band: str
    words: str
    count: int
    beads: Sequence[Bead]


WIDEST = 13.0  # pixels, of the bead that holds the most objects
LEAST = 2.5  # a single object stays visible


def bands(run: RiskRun, wanted: Wanted) -> list[BandLine]:
    """All bands, most urgent first, with the chances before opening of what the other filters leave. One query.

    The area of a bead goes with its number of objects; a single one keeps a radius that can be seen.
    """
    others = Wanted(**{**wanted.__dict__, "band": ""})
    step = Floor(F("before_opening") * BINS, output_field=FloatField())
    rows = found(run, others).order_by().annotate(step=step).values_list("band", "step").annotate(n=Count("pk"))
    counts: dict[str, Counter[int]] = {band: Counter() for band in Band.values}
    for band, place, number in rows:
        counts[band][min(int(place), BINS - 1)] += number
    most = max((number for band in counts.values() for number in band.values()), default=1)
    return [
        BandLine(band, str(Band(band).label), sum(held.values()), [_bead(p, held[p], most) for p in sorted(held)])
        for band, held in counts.items()
    ]


def _bead(place: int, count: int, most: int) -> Bead:
    width = 100 / BINS
    radius = max(LEAST, WIDEST * (count / most) ** 0.5)
    return Bead((place + 0.5) * width, round(radius, 2), count, round(place * width), round((place + 1) * width))


@dataclass(frozen=True)
class Freshness:
    """What is newer than the scores."""

    assessments: int
    restorations: bool
    checklist: bool
    climate: bool
    parameters: bool
    other_exhibition: Exhibition | None

    @property
    def old(self) -> bool:
        """Whether the scores no longer say what the record says."""
        written = self.assessments or self.restorations or self.checklist or self.climate
        return bool(written or self.parameters or self.other_exhibition)


def freshness(run: RiskRun, current: Exhibition | None) -> Freshness:
    """Whether anything that scores rest on is newer than they are. Six queries."""
    since = known_at(run)
    written = Event.objects.filter(at__gt=since)
    old_work = Q(subject_kind__in=("survey.restoration", "survey.joint", "survey.adhesiveevidence")) | Q(
        subject_kind="survey.assessment", became__what__in=("restoration", "joint", "evidence")
    )
    climates = Q(subject_kind="survey.loggerfile", verb__in=("counted", "taken back")) | Q(
        subject_kind="survey.place", verb="changed", became__has_key="climate"
    )
    plans = Q(subject_kind__in=("survey.checklistentry", "survey.exhibition"))
    return Freshness(
        assessments=Assessment.objects.filter(finished_at__gt=since).count(),
        restorations=written.filter(old_work).exists() or Joint.objects.filter(ended_at__gt=since).exists(),
        checklist=run.exhibition is not None and written.filter(plans).exists(),
        climate=written.filter(climates).exists(),
        parameters=ParameterSet.objects.filter(number__gt=run.parameters.number).exists(),
        other_exhibition=current if current and current != run.exhibition else None,
    )


def known_at(run: RiskRun) -> datetime:
    """Up to when a run knew the record: its beginning, or the last time that single objects were scored in it again."""
    finished = run.finished_at or run.began_at
    job = run.job
    if job is None or job.finished_at is None:
        return finished
    return finished if finished > job.finished_at else run.began_at


def scoring_job() -> Job | None:
    """The scoring that goes on, or that ended badly after the last good one."""
    job = Job.objects.filter(name=RUN_JOB).order_by("-asked_at").first()
    return None if job is None or job.state == JobState.DONE else job
