"""A whole finished assessment from a tablet: added as it was made, never merged with another."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Max, Min

from media.base import events, jobs
from media.base.models import User
from survey.capture import operations
from survey.capture.db.models import Conflict, Made, Operation, State
from survey.capture.db.selectors.naming import Thing, columns_of, the_campaign, the_part
from survey.capture.db.services.holding import Held, locked_object
from survey.capture.db.services.listing import note_place
from survey.capture.db.services.photographs import want_photographs
from survey.condition.db import services
from survey.condition.db.models import Assessment, Joint, Restoration, SurveyRound
from survey.condition.db.selectors import restorations_seen, standing, what_is_missing
from survey.condition.db.selectors.book import book
from survey.condition.db.services import Seen
from survey.condition.db.services.finishing import RESCORE
from survey.condition.grades import AXES
from survey.register.db.models import Object, Place

A_MOMENT = timedelta(milliseconds=1)
ADD: dict[str, Callable[..., Thing]] = {
    "joint": services.add_joint,
    "fill": services.add_fill,
    "overpaint": services.add_overpaint,
}


def add_assessment(row: Operation, operation: operations.Operation) -> None:
    """Add the assessment with all that it says. Raises ``Held`` or the survey's own refusals, and then adds nothing."""
    thing = locked_object(operation.object_id)
    row.object = thing
    by, body = row.made_by, operation.body
    if by is None:
        raise Held("The person who made this is not known here.")
    assessment, at = _begin(row, thing, body, by)
    services.answer(assessment, _answers(body), by=by, at=at)
    parts = _parts(row, assessment, body, by, at)
    _complete(assessment, parts)
    _freeze(assessment, by, at)
    row.assessment = assessment
    row.save(update_fields=["object", "assessment"])
    _place(row, thing, operation, by, at)
    _flag_parts(row, thing, operation)
    want_photographs(row, assessment, {name: body["views"].get(name, "") for name in operation.photographs}, by=by)


def _begin(row: Operation, thing: Object, body: Mapping[str, Any], by: User) -> tuple[Assessment, datetime]:
    """A new row, and when it was finished. One that the same person has open at a desk stays apart and open."""
    if body["definitions"] not in book():
        raise Held(f"Version {body['definitions']} of the definitions is not known here: bring the server up to date.")
    survey_round = SurveyRound.objects.filter(pk=body["round"]).first() if body["round"] else None
    if body["round"] and survey_round is None:
        raise Held("The survey round is not known here: say to which round this belongs.")
    happened = row.happened_at or row.received_at
    started = in_order(row, thing, happened - timedelta(seconds=body["seconds"]))
    made = Assessment.objects.create(
        object=thing, round=survey_round, surveyor=by, definitions=body["definitions"], visit=body["visit"],
        started_at=started,
    )  # fmt: skip
    at = max(happened, started)
    note = "on a tablet" + (", as last time" if body["as_last_time"] else "")
    events.record(made, "begun", by=by, at=at, thread=str(thing.pk), note=note)
    return made, at


def in_order(row: Operation, thing: Object, estimate: datetime) -> datetime:
    """When a look counts as begun, so that looks follow each other as the server took them in, whatever clocks say.

    Of one tablet they follow its own order: one that arrives late goes before those that it made later.
    """
    mine = Assessment.objects.filter(
        object=thing, operation__device=row.device_id, operation__sequence__gt=row.sequence
    )
    later: datetime | None = mine.aggregate(first=Min("started_at"))["first"]
    if later:
        return min(estimate, later - A_MOMENT)
    latest: datetime | None = standing().filter(object=thing).aggregate(last=Max("started_at"))["last"]
    return max(estimate, latest + A_MOMENT) if latest else estimate


def _answers(body: Mapping[str, Any]) -> dict[str, Any]:
    names = ("found", "old_restoration", *AXES, "handling")
    values = {name: body[name] for name in names if body[name]}
    values |= {name: body[name] for name in ("observation", "interpretation") if body[name]}
    if body["place_found"]:
        place = Place.objects.filter(pk=body["place_found"]).first()
        if place is None:
            raise Held("The place where it was found is not among the places any more: say where it stands.")
        values["place_found"] = place
    return values


def _parts(row: Operation, assessment: Assessment, body: Mapping[str, Any], by: User, at: datetime) -> set[Any]:
    """Record what was seen of each part, new ones first made; returns the keys of all parts spoken of."""
    campaigns = {each["id"]: each for each in body["restorations"]}
    spoken = set()
    for told in body["parts"]:
        part = the_part(told["kind"], told["id"], assessment.object_id)
        if part is None and told["made"] is not None:
            part = _make(row, assessment, told, campaigns, by, at)
        if part is None:
            raise Held(f"A {told['kind']} of which this speaks is not recorded here.", waits_for=told["id"])
        _see(assessment, part, told, by, at)
        spoken.add(part.pk)
    return spoken


def _make(
    row: Operation,
    assessment: Assessment,
    told: Mapping[str, Any],
    campaigns: Mapping[str, Mapping[str, Any]],
    by: User,
    at: datetime,
) -> Thing:
    campaign = _campaign(row, assessment, told["restoration"], campaigns, by, at)
    values: dict[str, Any] = {}
    for name, value in told["made"].items():
        values |= columns_of(name, value)
    part: Thing = ADD[told["kind"]](assessment, campaign, values, by=by, at=at)
    Made.objects.create(client_id=told["id"], kind=told["kind"], row_id=part.pk, operation=row)
    return part


def _campaign(
    row: Operation,
    assessment: Assessment,
    name: str,
    campaigns: Mapping[str, Mapping[str, Any]],
    by: User,
    at: datetime,
) -> Restoration:
    there = the_campaign(name, assessment.object_id)
    if there:
        return there
    if name not in campaigns:
        raise Held("The old restoration to which a part belongs is not recorded here.", waits_for=name)
    told = campaigns[name]
    shop = services.add_workshop(told["workshop"], by=by, at=at) if told["workshop"].strip() else None
    made = services.add_restoration(
        assessment, date_text=told["date_text"], workshop=shop, notes=told["notes"], by=by, at=at
    )
    Made.objects.create(client_id=name, kind="restoration", row_id=made.pk, operation=row)
    return made


def _see(assessment: Assessment, part: Thing, told: Mapping[str, Any], by: User, at: datetime) -> None:
    signs = {each["code"]: Seen(each["answer"], each["extent_percent"]) for each in told["signs"]}
    if isinstance(part, Joint) and told["answer"]:
        services.see_joint(
            assessment, part, stage=told["stage"], answer=told["answer"], signs=signs, by=by, at=at
        )  # fmt: skip
    elif signs:
        services.note_signs(assessment, part, signs, by=by, at=at)
    for found in told["evidence"]:
        if isinstance(part, Joint):
            services.add_evidence(assessment, part, **found, by=by, at=at)


def _complete(assessment: Assessment, spoken: set[Any]) -> None:
    """Ask the survey's own rules, of the parts that the tablet knew: others were recorded without its knowing."""
    assessment.refresh_from_db()
    seen = restorations_seen(assessment) if spoken else []
    for each in seen:
        for things in (each.joints, each.fills, each.overpaints):
            things[:] = [told for told in things if told.thing.pk in spoken]
    missing = what_is_missing(assessment, seen)
    if missing:
        raise Held(" ".join(each.words for each in missing)[:500])


def _freeze(assessment: Assessment, by: User, at: datetime) -> None:
    assessment.finished_at = max(at, assessment.started_at)
    assessment.save(update_fields=["finished_at"])
    events.record(assessment, "finished", by=by, at=at, thread=str(assessment.object_id), became={"finished_at": at})
    if RESCORE in jobs.registered():
        title = f"Score {assessment.object.number} again"
        jobs.enqueue(RESCORE, by=by, title=title, objects=[str(assessment.object_id)])


def _place(row: Operation, thing: Object, operation: operations.Operation, by: User, at: datetime) -> None:
    """Where it was found is a fact of the object; one that was not found says nothing of its place."""
    if operation.body["found"] == "missing":
        return
    seen = operation.based_on
    place = operation.body["place_found"] if operation.body["found"] == "elsewhere" else seen["here"]
    note_place(row, thing, place, expected=seen["value"], after=seen["after"], by=by, at=at)


def _flag_parts(row: Operation, thing: Object, operation: operations.Operation) -> None:
    """Two people each recorded new parts, or one found none where the other did, neither knowing of the other."""
    mine = _says(operation.body)
    if not mine:
        return
    known = operation.based_on["assessments"]
    others = Operation.objects.filter(object=thing, kind="assessment", state=State.APPLIED)
    others = others.exclude(pk=row.pk).exclude(device=row.device_id).exclude(assessment__in=known)
    for other in others.select_related("made_by").order_by("pk"):
        theirs = _says(operations.upgraded(json.loads(other.raw))["body"])
        if theirs and not mine == theirs == "none":
            _open(row, other, thing, mine, theirs)


def _says(body: Mapping[str, Any]) -> str:
    if any(part["new"] for part in body["parts"]):
        return "new parts"
    return "none" if body["old_restoration"] == "none" else ""


def _open(row: Operation, other: Operation, thing: Object, mine: str, theirs: str) -> None:
    told = [
        {"operation": str(each.uuid), "value": says, "by": each.made_by_id, "who": each.made_by and each.made_by.shown}
        for each, says in sorted(((row, mine), (other, theirs)), key=lambda pair: str(pair[0].uuid))
    ]
    key = f"parts:{told[0]['operation']}:{told[1]['operation']}"
    made = Conflict.objects.create(kind="parts", key=key, object=thing, sides=told, opened_at=row.received_at)
    events.record(made, "opened", by=None, at=row.received_at, thread=str(thing.pk), became={"sides": told})
