"""Old restorations with their joints, fills and overpaint, touch by touch."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpResponse

from media.base.access import SignedIn, permitted
from media.base.errors import FettleError, NotThere
from survey.condition.db import services
from survey.condition.db.models import Answer, Assessment, Fill, Joint, Overpaint, Restoration, Workshop
from survey.condition.db.selectors import definitions
from survey.condition.db.selectors.assessments import MODELS, VOCABULARY, the_restoration, the_thing
from survey.condition.db.services import Seen
from survey.condition.db.services.restoring import FIELDS, SIZES
from survey.condition.db.services.seeing import state_of
from survey.condition.web.desk import Desk, touch

YES_NO = {"yes": True, "no": False, "not_known": None}
ADD = {"joint": services.add_joint, "fill": services.add_fill, "overpaint": services.add_overpaint}


@touch
@permitted("survey.write")
def restoration(request: SignedIn, pk: uuid.UUID, part: uuid.UUID | None = None) -> HttpResponse:
    """About when and by whom: a new restoration, or one said anew."""
    desk = Desk.of(request, pk)
    date_text, words = request.POST.get("date_text", ""), request.POST.get("notes", "")
    shop = _workshop(desk, request.POST.get("workshop", ""), request.POST.get("new_workshop", ""))
    if part is None:
        services.add_restoration(
            _restored(desk), date_text=date_text, workshop=shop, notes=words, strict=True, by=desk.by, at=desk.at
        )
    else:
        known = the_restoration(part, pk)
        services.edit_restoration(
            desk.begun(), known, date_text=date_text, workshop=shop, notes=words, strict=True, by=desk.by, at=desk.at
        )
    return desk.back("parts")


def _workshop(desk: Desk, key: str, name: str) -> Workshop | None:
    if name.strip():
        return services.add_workshop(name, by=desk.by, at=desk.at)
    if not key:
        return None
    try:
        return Workshop.objects.get(pk=key)
    except (Workshop.DoesNotExist, ValueError) as error:
        raise NotThere("This workshop is not known any more. Choose another, or write its name.") from error


def _restored(desk: Desk) -> Assessment:
    """The open assessment; a part that is recorded says that there is old restoration."""
    assessment = desk.begun()
    if assessment.old_restoration != Answer.PRESENT:
        services.answer(assessment, {"old_restoration": Answer.PRESENT}, by=desk.by, at=desk.at)
    return assessment


@touch
@permitted("survey.write")
def remove_restoration(request: SignedIn, pk: uuid.UUID, part: uuid.UUID) -> HttpResponse:
    desk = Desk.of(request, pk)
    services.remove_restoration(desk.begun(), the_restoration(part, pk), by=desk.by, at=desk.at)
    return desk.back("parts")


@touch
@permitted("survey.write")
def add(request: SignedIn, pk: uuid.UUID, kind: str) -> HttpResponse:
    """A joint, fill or area of paint; on a restoration of unknown date if none is recorded yet."""
    desk = Desk.of(request, pk)
    _known(kind)
    assessment = _restored(desk)
    campaign = _which_restoration(desk, assessment)
    row = ADD[kind](assessment, campaign, {"part": request.POST.get("where", "")}, by=desk.by, at=desk.at)
    return desk.back(kind, part=row.pk)


def _which_restoration(desk: Desk, assessment: Assessment) -> Restoration:
    key = desk.request.POST.get("restoration", "")
    if key:
        try:
            return the_restoration(uuid.UUID(key), desk.object.pk)
        except ValueError as error:
            raise NotThere("This restoration is no longer recorded. Go back to the list of parts.") from error
    if desk.restorations:
        return desk.restorations[-1].restoration
    return services.add_restoration(assessment, by=desk.by, at=desk.at)


@touch
@permitted("survey.write")
def stage(request: SignedIn, pk: uuid.UUID, kind: str, part: uuid.UUID) -> HttpResponse:
    """How a joint looks: its stage, or not seen, or not known."""
    desk = Desk.of(request, pk)
    joint = the_thing("joint", part, pk)
    said = request.POST.get("stage", "")
    number = int(said) if said in {"0", "1", "2", "3", "4"} else None
    answer = "seen" if number is not None else said
    services.see_joint(desk.begun(), _joint(joint), stage=number, answer=answer, by=desk.by, at=desk.at)
    return desk.back("joint", part=part)


@touch
@permitted("survey.write")
def sign(request: SignedIn, pk: uuid.UUID, kind: str, part: uuid.UUID) -> HttpResponse:
    """One sign: how far it runs, or none, not seen, not known; "clear" takes the answer away."""
    desk = Desk.of(request, pk)
    thing = the_thing(_known(kind), part, pk)
    said = request.POST.get("seen", "")
    seen: Seen | None
    if said == "clear":
        seen = None
    elif said.isdecimal():
        seen = Seen(Answer.PRESENT, int(said))
    else:
        seen = Seen(said)
    services.note_sign(desk.begun(), thing, request.POST.get("code", ""), seen, by=desk.by, at=desk.at)
    return desk.back(kind, part=part)


@touch
@permitted("survey.write")
def all_signs(request: SignedIn, pk: uuid.UUID, kind: str, part: uuid.UUID) -> HttpResponse:
    """The same answer to every sign that has none yet: "none" or "not seen"."""
    desk = Desk.of(request, pk)
    assessment, thing = desk.begun(), the_thing(_known(kind), part, pk)
    answered = {row[0] for row in state_of(assessment, thing)["signs"]}
    terms = definitions(assessment.definitions).signs[VOCABULARY[kind]]
    seen = {term.code: Seen(request.POST.get("seen", "")) for term in terms if term.code not in answered}
    if seen:
        services.note_signs(assessment, thing, seen, by=desk.by, at=desk.at)
    return desk.back(kind, part=part)


@touch
@permitted("survey.write")
def details(request: SignedIn, pk: uuid.UUID, kind: str, part: uuid.UUID) -> HttpResponse:
    """What is recorded of the part itself: where, measures, adhesive, material, structural or not."""
    desk = Desk.of(request, pk)
    thing = the_thing(_known(kind), part, pk)
    values: dict[str, Any] = {}
    for name in FIELDS[MODELS[kind]]:
        if name not in request.POST:
            continue
        said = request.POST[name].strip()
        if name in SIZES:
            values[name] = said.replace(",", ".") or None
        elif name in ("structural", "over_original"):
            values[name] = YES_NO.get(said, said)
        else:
            values[name] = said
    services.edit_thing(desk.begun(), thing, values, strict=True, by=desk.by, at=desk.at)
    return desk.back(kind, part=part)


@touch
@permitted("survey.write")
def evidence(request: SignedIn, pk: uuid.UUID, kind: str, part: uuid.UUID) -> HttpResponse:
    """One finding about a joint's adhesive."""
    desk = Desk.of(request, pk)
    joint = _joint(the_thing("joint", part, pk))
    found = {name: request.POST.get(name, "") for name in ("basis", "finding", "note")}
    services.add_evidence(desk.begun(), joint, **found, by=desk.by, at=desk.at)
    return desk.back("joint", part=part)


@touch
@permitted("survey.write")
def remove(request: SignedIn, pk: uuid.UUID, kind: str, part: uuid.UUID) -> HttpResponse:
    """Take a part back that was recorded by mistake."""
    desk = Desk.of(request, pk)
    services.remove_thing(desk.begun(), the_thing(_known(kind), part, pk), by=desk.by, at=desk.at)
    return desk.back("parts")


def _known(kind: str) -> str:
    if kind not in MODELS:
        raise NotThere("There is no such part. Go back to the list of parts.")
    return kind


def _joint(thing: Joint | Fill | Overpaint) -> Joint:
    if not isinstance(thing, Joint):
        raise FettleError("Only a joint has a stage and an adhesive.")
    return thing
