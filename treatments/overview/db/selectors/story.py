"""One object's whole story."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Prefetch
from django.utils import timezone

from media.base.errors import NotThere
from media.base.models import Event
from media.markup.tracing import Trace
from survey.condition.db import selectors as condition
from survey.condition.db.models import Assessment, Joint, JointSeen, ObjectPhotograph, Restoration
from survey.condition.db.selectors.marking import traces_on
from survey.register.db.models import ChecklistEntry, Exhibition, Object, ObjectMove
from survey.register.db.selectors import current_exhibition
from survey.risk.db.models import Band, JointRisk, ObjectRisk
from survey.risk.db.selectors import latest_run
from treatments.forecast.db.models import ObjectForecast
from treatments.forecast.db.selectors import latest_forecast
from treatments.hours.db.models import Treatment
from treatments.options.db.models import ChosenLevel
from treatments.options.db.selectors import table_in_use

TOLD_ELSEWHERE = ("finished", "moved", "finished a treatment")
MOST_EVENTS = 60
UNDATED = 1900  # where an old restoration without any date stands in the story: after making, before surveys


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
class PhotographLine:
    """A photograph with what is drawn on it; sizes of letters in its own pixels."""

    taken: ObjectPhotograph
    traces: Sequence[Trace]

    @property
    def letters(self) -> float:
        return self.taken.photograph.width / 32

    @property
    def edge(self) -> float:
        return self.taken.photograph.width / 160


@dataclass(frozen=True)
class ObjectStory:
    """All there is to say of one object."""

    object: Object
    photographs: list[PhotographLine]
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
    joints = Prefetch("joints", Joint.objects.order_by("label"))
    restorations = list(
        thing.restorations.select_related("workshop")
        .prefetch_related(joints, "fills", "overpaints")
        .order_by("year_earliest", "pk")
    )
    assessments = list(thing.assessments.select_related("surveyor", "round").order_by("started_at"))
    standing = set(condition.standing().filter(object=thing).values_list("pk", flat=True))
    seen = JointSeen.objects.filter(assessment__in=standing, stage__isnull=False).order_by("assessment__started_at")
    entry = ChecklistEntry.objects.filter(exhibition=exhibition, object=thing, removed_at=None).first()
    chosen = ChosenLevel.objects.filter(exhibition=exhibition, object=thing, replaced_at=None).first()
    names = {level.code: level.name for level in table_in_use().levels}
    story = ObjectStory(
        object=thing,
        photographs=_photographs(thing, restorations),
        restorations=restorations,
        last_seen={row.joint_id: row for row in seen},
        risk=ObjectRisk.objects.filter(run=run, object=thing).select_related("run").first(),
        joint_risks={row.joint_id: row for row in JointRisk.objects.filter(run=run, object=thing)},
        entry=entry,
        last=next((look for look in reversed(assessments) if look.pk in standing), None),
        chosen=chosen,
        level_name=names.get(chosen.level, chosen.level) if chosen else "",
        forecast=ObjectForecast.objects.filter(forecast=latest_forecast(exhibition), object=thing).first(),
    )
    stations = _stations(story, assessments, standing, names, exhibition)
    story.events.extend(sorted(stations, key=lambda event: event.order))
    return story


def _photographs(thing: Object, restorations: Sequence[Restoration]) -> list[PhotographLine]:
    """The latest photographs with what is drawn on them. Two queries."""
    taken = list(thing.photographs.select_related("photograph").order_by("-at")[:12])
    parts = [
        part for each in restorations for rows in (each.joints, each.fills, each.overpaints) for part in rows.all()
    ]
    traces = traces_on([row.photograph_id for row in taken], {str(part.pk): part.label for part in parts})
    return [PhotographLine(row, traces.get(row.photograph_id, [])) for row in taken]


def _stations(
    story: ObjectStory, assessments: Sequence[Assessment], standing: set[UUID], names: dict[str, str],
    exhibition: Exhibition | None,
) -> Iterator[StoryEvent]:  # fmt: skip
    thing = story.object
    yield from _made(thing)
    for campaign in story.restorations:
        yield _restored(campaign)
    for look in assessments:
        yield _looked(look, standing)
    for move in ObjectMove.objects.filter(object=thing).select_related("to_place", "by").order_by("at"):
        to = move.to_place.full_name if move.to_place else "no place"
        who = move.by.shown if move.by else ""
        yield StoryEvent("places", f"Moved to {to}", _day(move.at), _at(move.at), who, move.reason)
    for job in thing.treatments.order_by("began_on"):
        yield _treated(job, names)
    if story.risk is not None:
        at = story.risk.run.finished_at or story.risk.run.began_at
        text = story.risk.reasons[0]["text"] if story.risk.reasons else ""
        yield StoryEvent("ranking", "Scored", _day(at), _at(at), text=text, href=("risk:reasons", thing.pk))
    yield from _ahead(story, exhibition)
    told = Event.objects.filter(thread=str(thing.pk)).exclude(verb__in=TOLD_ELSEWHERE)
    for event in told.select_related("by").order_by("-at")[:MOST_EVENTS]:
        yield _changed(event, names)


def _made(thing: Object) -> Iterator[StoryEvent]:
    known = [year for year in (thing.date_earliest, thing.date_latest) if year is not None]
    if thing.date_text or known:
        when = thing.date_text or _years(thing.date_earliest, thing.date_latest)
        yield StoryEvent("register", "Made", when, (float(min(known, default=-9e9)), 0), text=thing.material)


def _changed(event: Event, names: dict[str, str]) -> StoryEvent:
    """A station from the record of changes."""
    who, became, was = event.by.shown if event.by else "", event.became or {}, event.was or {}
    when = _day(event.at), _at(event.at)
    if event.verb == "chose a level":
        level = str(became.get("level", ""))
        return StoryEvent(
            "treatments", f"Level chosen: {names.get(level, level)}", *when, who, str(became.get("why", ""))
        )
    if event.verb == "took a level back":
        level = str(was.get("level", ""))
        return StoryEvent("undo", f"Level taken back: {names.get(level, level)}", *when, who)
    return StoryEvent("edit", event.verb.capitalize(), *when, who, event.note)


def _restored(campaign: Restoration) -> StoryEvent:
    joints, fills, paint = campaign.joints.all(), campaign.fills.all(), campaign.overpaints.all()
    counted = [
        _count(len(joints), "joint"), _count(len(fills), "fill"), _count(len(paint), "area", "of overpaint"),
    ]  # fmt: skip
    return StoryEvent(
        "treatments",
        "Restored",
        campaign.date_text or _years(campaign.year_earliest, campaign.year_latest) or "at a date not known",
        (float(campaign.year_earliest or campaign.year_latest or UNDATED), 1),
        who=campaign.workshop.name if campaign.workshop else "by a hand not known",
        text=", ".join(filter(None, counted)).capitalize() or "Nothing of it is recorded yet",
    )


def _looked(look: Assessment, standing: set[UUID]) -> StoryEvent:
    grades = {look.get_instability_display(), look.get_damage_display(), look.get_disfigurement_display()} - {""}
    if look.finished_at is None:
        href = ("condition:assess", look.object_id)
        return StoryEvent(
            "survey", "Begun, not finished", _day(look.started_at), _at(look.started_at), look.surveyor.shown, href=href
        )
    text = look.observation or (f"Graded {', '.join(sorted(grades)).lower()}." if grades else "")
    name = (look.round.name if look.round else "Looked at") + ("" if look.pk in standing else ", corrected since")
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
    return f"{timezone.localtime(at):%-d %B %Y}"


def _at(at: datetime) -> tuple[float, int]:
    return (at.year + (at.timetuple().tm_yday + at.hour / 24) / 366, 2)


def _decimal(day: date) -> float:
    return day.year + day.timetuple().tm_yday / 366
