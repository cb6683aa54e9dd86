"""What burns today, and one object's whole story; read across all rooms."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, Prefetch

from media.base.errors import NotThere
from media.base.models import Event
from survey.condition.db import selectors as condition
from survey.condition.db.models import Assessment, Joint, JointSeen, ObjectPhotograph, Restoration
from survey.register.db.models import ChecklistEntry, Exhibition, MilestoneKind, Object, ObjectMove
from survey.register.db.selectors import current_exhibition, milestones_of
from survey.risk.adhesives import ADHESIVES
from survey.risk.ageing import SITE_CLIMATES
from survey.risk.db.models import Band, JointRisk, ObjectRisk, ParameterSet, RiskRun
from survey.risk.db.selectors import latest_run
from survey.risk.stages import PRIORS
from treatments.forecast.db.models import Forecast, ObjectForecast
from treatments.forecast.db.selectors import latest_forecast
from treatments.hours.db.models import Treatment
from treatments.hours.db.selectors import Experience, experience
from treatments.options.db.models import ChosenLevel, LevelTable
from treatments.options.db.selectors import newest_table, table_in_use
from treatments.options.steps import StepTable
from treatments.planning.db.models import StaffMember


@dataclass(frozen=True)
class Today:
    """The first page: one exhibition, what must not be lifted, what nobody has looked at, and the chance."""

    exhibition: Exhibition | None
    milestones: list[tuple[str, date, int]]
    run: RiskRun | None
    forecast: Forecast | None
    objects: int
    on_checklist: int
    do_not_lift: int
    worst: list[ObjectRisk]
    unsurveyed: int
    unsurveyed_first: list[ChecklistEntry]
    open_assessments: list[Assessment]
    late: list[ObjectForecast]
    finished_jobs: int

    @property
    def empty(self) -> bool:
        return self.objects == 0


def today(user_id: int, day: date) -> Today:
    """Everything the first page shows, in a fixed number of queries."""
    exhibition, run = current_exhibition(day), latest_run()
    forecast = latest_forecast(exhibition)
    entries = ChecklistEntry.objects.filter(exhibition=exhibition, removed_at=None)
    unseen = entries.exclude(object__in=condition.standing().values("object"))
    scores = ObjectRisk.objects.filter(run=run, band=Band.DO_NOT_LIFT)
    mine = Assessment.objects.filter(surveyor=user_id, finished_at=None).select_related("object__place")
    late = ObjectForecast.objects.filter(forecast=forecast, late__gte=0.5).select_related("object")
    return Today(
        exhibition=exhibition,
        milestones=_milestones(exhibition, day) if exhibition else [],
        run=run,
        forecast=forecast,
        objects=Object.objects.filter(withdrawn_at=None).count(),
        on_checklist=entries.count() if exhibition else 0,
        do_not_lift=scores.count(),
        worst=list(scores.select_related("object__place").order_by("rank_by_weighted")[:6]),
        unsurveyed=unseen.count() if exhibition else 0,
        unsurveyed_first=list(unseen.select_related("object__place").order_by("need_by", "object__place__path")[:6])
        if exhibition
        else [],
        open_assessments=list(mine.order_by("-started_at")[:5]),
        late=list(late.order_by("-late", "object")[:6]),
        finished_jobs=Treatment.objects.filter(finished_on__isnull=False).count(),
    )


def _milestones(exhibition: Exhibition, day: date) -> list[tuple[str, date, int]]:
    """Word, date and days from today of each milestone."""
    found = milestones_of(exhibition)
    return [(str(MilestoneKind(kind).label), when, (when - day).days) for kind, when in found.items()]


@dataclass(frozen=True)
class StoryEvent:
    """One station of an object's story, as the page draws it."""

    symbol: str
    title: str
    when: str
    order: tuple[float, int]
    who: str = ""
    text: str = ""
    href: tuple[str, Any] | None = None
    ahead: bool = False


CERTAINTY = {
    "date": "guessed", "look": "looked", "uv": "looked", "solvent": "tested", "spot_test": "tested",
    "record": "analysed", "ftir": "analysed",
}  # fmt: skip


@dataclass(frozen=True)
class JointLine:
    """A joint with what was last seen of it, its score, and how sure its adhesive is."""

    joint: Joint
    seen: JointSeen | None
    risk: JointRisk | None
    certainty: str


@dataclass(frozen=True)
class ObjectStory:
    """All there is to say of one object."""

    object: Object
    photographs: list[ObjectPhotograph]
    restorations: list[Restoration]
    last_seen: dict[UUID, JointSeen]
    risk: ObjectRisk | None
    joint_risks: dict[UUID, JointRisk]
    entry: ChecklistEntry | None
    last: Assessment | None
    chosen: ChosenLevel | None
    level_name: str
    forecast: ObjectForecast | None
    events: list[StoryEvent] = field(default_factory=list)

    @property
    def campaigns(self) -> list[tuple[Restoration, list[JointLine]]]:
        """Each restoration with its joints as the page shows them."""
        return [
            (
                campaign,
                [
                    JointLine(
                        joint,
                        self.last_seen.get(joint.pk),
                        self.joint_risks.get(joint.pk),
                        CERTAINTY.get(joint.basis, ""),
                    )
                    for joint in campaign.joints.all()
                ],
            )
            for campaign in self.restorations
        ]

    @property
    def do_not_lift(self) -> bool:
        told = self.last is not None and self.last.handling == "do_not_lift"
        return told or (self.risk is not None and self.risk.band == Band.DO_NOT_LIFT)

    @property
    def do_not_lift_reason(self) -> str:
        if self.risk is not None and self.risk.band == Band.DO_NOT_LIFT and self.risk.reasons:
            return str(self.risk.reasons[0]["text"])
        return "The last surveyor said that it must not be lifted."


def object_story(pk: UUID, day: date) -> ObjectStory:
    """One object with everything that was recorded of it, in a fixed number of queries. Raises ``NotThere``."""
    thing = Object.objects.select_related("place").filter(pk=pk).first()
    if thing is None:
        raise NotThere("This object is not in the register. Search for its number instead.")
    run, exhibition = latest_run(), current_exhibition(day)
    joints = Prefetch("joints", Joint.objects.prefetch_related("evidence").order_by("label"))
    restorations = list(
        thing.restorations.select_related("workshop")
        .prefetch_related(joints, "fills", "overpaints")
        .order_by("year_earliest", "pk")
    )
    assessments = list(
        thing.assessments.select_related("surveyor", "round").annotate(seen=Count("joints_seen")).order_by("started_at")
    )
    standing = set(condition.standing().filter(object=thing).values_list("pk", flat=True))
    seen = JointSeen.objects.filter(assessment__in=standing, stage__isnull=False).order_by("assessment__started_at")
    entry = ChecklistEntry.objects.filter(exhibition=exhibition, object=thing, removed_at=None).first()
    chosen = ChosenLevel.objects.filter(exhibition=exhibition, object=thing, replaced_at=None).first()
    story = ObjectStory(
        object=thing,
        photographs=list(thing.photographs.select_related("photograph").order_by("-at")[:12]),
        restorations=restorations,
        last_seen={row.joint_id: row for row in seen},
        risk=ObjectRisk.objects.filter(run=run, object=thing).first(),
        joint_risks={row.joint_id: row for row in JointRisk.objects.filter(run=run, object=thing)},
        entry=entry,
        last=next((look for look in reversed(assessments) if look.pk in standing), None),
        chosen=chosen,
        level_name=table_in_use().level(chosen.level).name if chosen else "",
        forecast=ObjectForecast.objects.filter(forecast=latest_forecast(exhibition), object=thing).first(),
    )
    story.events.extend(sorted(_events(story, assessments, exhibition), key=lambda event: event.order))
    return story


def _events(
    story: ObjectStory, assessments: Sequence[Assessment], exhibition: Exhibition | None
) -> Iterator[StoryEvent]:
    thing, names = story.object, {level.code: level.name for level in table_in_use().levels}
    if thing.date_text or thing.date_earliest is not None:
        when = thing.date_text or f"{thing.date_earliest}–{thing.date_latest}"
        yield StoryEvent("register", "Made", when, (float(thing.date_earliest or -9e9), 0), text=thing.material)
    for campaign in story.restorations:
        yield _restored(campaign)
    for look in assessments:
        yield _looked(look)
    for move in ObjectMove.objects.filter(object=thing).select_related("to_place", "by").order_by("at"):
        to = move.to_place.full_name if move.to_place else "no place"
        yield StoryEvent(
            "places",
            f"Moved to {to}",
            _day(move.at),
            _at(move.at),
            who=move.by.shown if move.by else "",
            text=move.reason,
        )
    for job in thing.treatments.order_by("began_on"):
        yield _treated(job, names)
    if story.risk is not None:
        run = story.risk.run
        yield StoryEvent(
            "ranking", "Scored", _day(run.finished_at or run.began_at), _at(run.finished_at or run.began_at),
            text=story.risk.reasons[-1]["text"] if story.risk.reasons else "", href=("risk:reasons", thing.pk),
        )  # fmt: skip
    yield from _ahead(story, exhibition)
    known = {"finished", "moved", "finished a treatment", "chose a level"}
    for event in (
        Event.objects.filter(thread=str(thing.pk)).exclude(verb__in=known).select_related("by").order_by("at")[:60]
    ):
        yield StoryEvent(
            "edit", event.verb.capitalize(), _day(event.at), _at(event.at), who=event.by.shown if event.by else "",
            text=event.note,
        )  # fmt: skip


def _restored(campaign: Restoration) -> StoryEvent:
    joints, fills, paint = campaign.joints.all(), campaign.fills.all(), campaign.overpaints.all()
    counted = [
        _count(len(joints), "joint"), _count(len(fills), "fill"), _count(len(paint), "area", "of overpaint"),
    ]  # fmt: skip
    return StoryEvent(
        "treatments",
        "Restored",
        campaign.date_text or _years(campaign.year_earliest, campaign.year_latest) or "at a date not known",
        (float(campaign.year_earliest or campaign.year_latest or 1900), 1),
        who=campaign.workshop.name if campaign.workshop else "by a hand not known",
        text=", ".join(part for part in counted if part) + ".",
    )


def _looked(look: Assessment) -> StoryEvent:
    grades = {look.get_instability_display(), look.get_damage_display(), look.get_disfigurement_display()} - {""}
    if look.finished_at is None:
        href = ("condition:assess", look.object_id)
        return StoryEvent(
            "survey", "Begun, not finished", _day(look.started_at), _at(look.started_at), look.surveyor.shown, href=href
        )
    text = look.observation or (f"Graded {', '.join(sorted(grades)).lower()}." if grades else "")
    name = look.round.name if look.round else "Looked at"
    return StoryEvent(
        "survey", name, _day(look.started_at), _at(look.started_at), look.surveyor.shown, text,
        ("condition:assessment", look.pk),
    )  # fmt: skip


def _treated(job: Treatment, names: dict[str, str]) -> StoryEvent:
    day = job.finished_on or job.began_on
    name = names.get(job.level, job.level)
    when = f"{day:%-d %B %Y}" if day else ""
    return StoryEvent("treatments", name, when, (_decimal(day) if day else 9e9, 2))


def _ahead(story: ObjectStory, exhibition: Exhibition | None) -> Iterator[StoryEvent]:
    if story.chosen and story.chosen.look_again_on:
        day = story.chosen.look_again_on
        yield StoryEvent("calendar", "Look again", f"{day:%-d %B %Y}", (_decimal(day), 3), ahead=True)
    if story.entry and exhibition:
        due = story.entry.need_by or (story.forecast.need_by if story.forecast else None)
        if due:
            yield StoryEvent(
                "opening-day", f"Needed for {exhibition}", f"{due:%-d %B %Y}", (_decimal(due), 4),
                text=f"{story.entry.section}: {story.entry.get_use_display().lower()}", ahead=True,
                href=("register:exhibition", exhibition.pk),
            )  # fmt: skip


def _count(number: int, word: str, after: str = "") -> str:
    return f"{number} {word}{'' if number == 1 else 's'}{f' {after}' if after else ''}" if number else ""


def _years(first: int | None, last: int | None) -> str:
    known = sorted({year for year in (first, last) if year is not None})
    return "–".join(map(str, known))


def _day(at: datetime) -> str:
    return f"{at:%-d %B %Y}"


def _at(at: datetime) -> tuple[float, int]:
    return (at.year + (at.timetuple().tm_yday + at.hour / 24) / 366, 2)


def _decimal(day: date) -> float:
    return day.year + day.timetuple().tm_yday / 366


@dataclass(frozen=True)
class SettingsShown:
    """What the scoring, the hours and the forecast assume now, with who put it in force."""

    parameters: ParameterSet | None
    levels: LevelTable | None
    table: StepTable
    experience: Experience
    staff: int
    climates: list[tuple[str, str, float]]
    priors: list[tuple[str, float, str]]
    adhesives: list[tuple[str, float, float, str]]


def settings_shown() -> SettingsShown:
    """Everything that the settings page shows, in a fixed number of queries."""
    return SettingsShown(
        parameters=ParameterSet.objects.select_related("adopted_by").order_by("-number").first(),
        levels=newest_table(),
        table=table_in_use(),
        experience=experience(),
        staff=StaffMember.objects.count(),
        climates=[(site.name, site.grounds, round(site.rate(), 2)) for site in SITE_CLIMATES.values()],
        priors=[(prior.name, prior.mean_years, prior.grounds) for prior in PRIORS.values()],
        adhesives=[(kind.name, kind.speed, kind.strength_mpa, kind.grounds) for kind in ADHESIVES],
    )
