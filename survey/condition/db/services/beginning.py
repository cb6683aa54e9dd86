"""Rounds, and the beginning, answering and correcting of assessments."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction

from media.base import events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.condition.db.models import (
    Answer,
    Assessment,
    Found,
    Grade,
    Handling,
    JointSeen,
    Sign,
    SurveyRound,
    Visit,
)
from survey.condition.db.selectors.assessments import correction_of, open_assessment
from survey.condition.db.selectors.book import newest
from survey.condition.db.services.steps import Step, held
from survey.register.db.models import Object, Place

LONGEST_LOOK = timedelta(hours=12)
CHOICES: Mapping[str, type[Answer] | type[Found] | type[Grade] | type[Handling] | type[Visit]] = {
    "found": Found,
    "old_restoration": Answer,
    "instability": Grade,
    "damage": Grade,
    "disfigurement": Grade,
    "handling": Handling,
    "visit": Visit,
}
TEXTS = ("observation", "interpretation")
LONGEST_TEXT = 10_000
UNREMARKABLE = {
    "found": Found.HERE,
    "old_restoration": Answer.NONE,
    "instability": Grade.GOOD,
    "damage": Grade.GOOD,
    "disfigurement": Grade.GOOD,
    "handling": Handling.FREE,
}
"""What one touch says of an object without old restoration that gives no cause for remark."""


@transaction.atomic
def start_round(*, name: str, purpose: str = "", started_on: date, by: User | None, at: datetime) -> SurveyRound:
    """Begin a survey round under the newest definitions."""
    name = " ".join(name.split())
    if not name or len(name) > 200:
        raise FettleError("Give the round a name of at most 200 characters.")
    if SurveyRound.objects.filter(name=name).exists():
        raise Clash(f"There is already a round called “{name}”: choose another name.")
    try:
        with transaction.atomic():
            made = SurveyRound.objects.create(
                name=name, purpose=purpose.strip(), started_on=started_on, definitions=newest().version
            )
    except IntegrityError as error:
        raise Clash(f"There is already a round called “{name}”: choose another name.") from error
    events.record(made, "started", by=by, at=at, became={"name": name, "started_on": started_on})
    return made


@transaction.atomic
def end_round(survey_round: SurveyRound, *, by: User | None, at: datetime) -> SurveyRound:
    """End a round. Its unfinished assessments stay and can still be finished."""
    now = SurveyRound.objects.select_for_update().get(pk=survey_round.pk)
    if now.ended_on:
        raise Clash("This round has ended already.")
    now.ended_on = max(at.date(), now.started_on)
    now.save(update_fields=["ended_on"])
    events.record(now, "ended", by=by, at=at, was={"ended_on": None}, became={"ended_on": now.ended_on})
    return now


@transaction.atomic
def begin_assessment(
    thing: Object, survey_round: SurveyRound | None, *, by: User, at: datetime, looked_from: datetime | None = None
) -> Assessment:
    """The assessment that ``by`` has open on an object, or a new one.

    ``looked_from`` is when the object was taken up, if that was before the first answer; what lies ahead of ``at`` or
    more than half a day behind it is taken for a clock gone wrong.
    """
    Object.objects.select_for_update().get(pk=thing.pk)
    if thing.withdrawn_at:
        raise Clash("This object has left the register, so it is not surveyed. Take it back into the register first.")
    there = open_assessment(thing.pk, by)
    if there:
        return there
    if survey_round and survey_round.ended_on:
        raise Clash(f"The round “{survey_round.name}” has ended. Choose another round on the survey page.")
    started = looked_from if looked_from and at - LONGEST_LOOK <= looked_from <= at else at
    made = Assessment.objects.create(
        object=thing, round=survey_round, surveyor=by, started_at=started,
        definitions=survey_round.definitions if survey_round else newest().version,
        visit=Visit.ROUND if survey_round else Visit.LOOKED_BAD,
    )  # fmt: skip
    events.record(made, "begun", by=by, at=at, thread=str(thing.pk))
    return made


@transaction.atomic
def answer(assessment: Assessment, values: Mapping[str, Any], *, by: User | None, at: datetime) -> Assessment:
    """Answer some fields in one step: those of ``CHOICES``, ``TEXTS``, and ``place_found`` (a place or None)."""
    assessment = held(assessment)
    changes: dict[str, Any] = {}
    for name, value in values.items():
        changes |= _checked(name, value)
    if changes.get("found") in (Found.HERE, Found.MISSING):
        changes["place_found_id"] = None
    Step(assessment, by, at).change(assessment, changes, _words(changes))
    return assessment


def _checked(name: str, value: Any) -> dict[str, Any]:
    if name == "place_found" and (value is None or isinstance(value, Place)):
        return {"place_found_id": value.pk if value else None}
    if name in TEXTS and isinstance(value, str):
        if len(value) > LONGEST_TEXT:
            raise FettleError(f"A note holds at most {LONGEST_TEXT:,} characters: shorten it.")
        return {name: value.strip()}
    if name in CHOICES and value in CHOICES[name].values:
        return {name: str(value)}
    raise FettleError("This is not one of the answers that can be given here: choose one that the page offers.")


def _words(changes: Mapping[str, Any]) -> str:
    if len(changes) > 2:
        return "no old restoration, good on all three"
    name, value = next(iter(changes.items()))
    if name in CHOICES:
        return f"{name.replace('_', ' ')}: {CHOICES[name](value).label.lower()}"
    return name.removesuffix("_id").replace("_", " ")


@transaction.atomic
def correct_assessment(old: Assessment, *, by: User, at: datetime) -> Assessment:
    """A new assessment that names the old and begins with all it says; finished, it takes the old one's place.

    It keeps the old one's ``started_at``: the look that it tells of is the same, only what was written was wrong.
    """
    old = Assessment.objects.select_for_update(of=("self",)).select_related("object").get(pk=old.pk)
    if old.finished_at is None:
        raise Clash("This assessment is not frozen yet: change it directly.")
    there = correction_of(old)
    if there and there.finished_at:
        raise Clash("This assessment has been corrected already: correct the newer one.")
    if there and there.surveyor_id != by.pk:
        raise Clash(f"{there.surveyor.shown} is correcting this assessment now: speak with them.")
    if there:
        return there
    if open_assessment(old.object_id, by):
        raise Clash("You have an unfinished assessment of this object: finish or discard it first.")
    made = _copy(old, by)
    events.record(
        made, "begun", by=by, at=at, thread=str(old.object_id), became={"corrects": str(old.pk)}, note="correction"
    )
    return made


def _copy(old: Assessment, by: User) -> Assessment:
    same = ("object_id", "round_id", "definitions", "started_at", "place_found_id", *CHOICES, *TEXTS)
    made = Assessment.objects.create(surveyor=by, corrects=old, **{name: getattr(old, name) for name in same})
    JointSeen.objects.bulk_create(
        JointSeen(assessment=made, joint_id=seen.joint_id, stage=seen.stage, answer=seen.answer)
        for seen in old.joints_seen.filter(joint__ended_at=None)
    )
    parts = ("joint_id", "fill_id", "overpaint_id", "code", "answer", "extent_percent")
    Sign.objects.bulk_create(
        Sign(assessment=made, **{name: getattr(sign, name) for name in parts}) for sign in old.signs.all()
    )
    return made
