"""Looking at one object: every touch is saved at once, and the page comes back at the step that is next."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from media.base.access import SignedIn, permitted
from media.base.errors import FettleError
from media.photographs.db.services import NotAPhotograph, receive
from survey.condition import grades
from survey.condition.db import services
from survey.condition.db.models import Answer, Found
from survey.condition.db.services.beginning import CHOICES
from survey.condition.web.desk import Desk, touch
from survey.condition.web.pages import desk_context
from survey.register.db.selectors.places import the_place

MOST_PHOTOGRAPHS = 20  # in one sending


@require_GET
@permitted("survey.write")
def assess(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """What do you see on this object? Opening the page writes nothing; the first answer begins the assessment."""
    return render(request, "survey/condition/assess.html", desk_context(Desk.of(request, pk)))


@touch
@permitted("survey.write")
def answer(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One touch on an answer."""
    desk = Desk.of(request, pk)
    values: dict[str, Any] = {name: request.POST[name] for name in CHOICES if name in request.POST}
    if request.POST.get("place_found"):
        values["place_found"] = the_place(_place_key(request.POST["place_found"]))
    if not values:
        raise FettleError("No answer was given: touch one of those on the page.")
    services.answer(desk.begun(), values, by=desk.by, at=desk.at)
    return desk.back(_step_after(desk, values))


def _place_key(text: str) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except ValueError as error:
        raise FettleError("This is not a place of the register: choose one from the list.") from error


def _step_after(desk: Desk, values: dict[str, Any]) -> str:
    """Where the next question is; the same step while that one still has open questions."""
    assessment = desk.begun()
    if values.get("found") == Found.MISSING:
        return "check"
    if "old_restoration" in values:
        return "parts" if values["old_restoration"] == Answer.PRESENT else "grades"
    if set(values) & set(grades.AXES):
        assessment.refresh_from_db()
        graded = all(getattr(assessment, axis) for axis in grades.AXES)
        return "handling" if graded and not assessment.handling else "grades"
    if "handling" in values:
        return "check"
    return "notes" if "visit" in values else "look"


@touch
@permitted("survey.write")
def unremarkable(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One touch for an object without old restoration that is good on all three axes and may be lifted."""
    desk = Desk.of(request, pk)
    values: dict[str, Any] = dict(services.UNREMARKABLE)
    if desk.assessment and desk.assessment.found == Found.ELSEWHERE:
        del values["found"]
    services.answer(desk.begun(), values, by=desk.by, at=desk.at)
    return desk.back("look")


@touch
@permitted("survey.write")
def notes(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """What was seen, and apart from it what it is taken to mean."""
    desk = Desk.of(request, pk)
    values = {name: request.POST.get(name, "") for name in ("observation", "interpretation")}
    services.answer(desk.begun(), values, by=desk.by, at=desk.at)
    vague = grades.vague_words("\n".join(values.values()))
    return desk.back("notes" if vague else "check")


@touch
@permitted("survey.write")
def photographs(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Keep photographs; one that is refused keeps none of the others back."""
    desk = Desk.of(request, pk)
    files: list[UploadedFile[Any]] = request.FILES.getlist("photographs")
    if not files:
        raise FettleError("No photograph came with this. Take or choose one first.")
    if len(files) > MOST_PHOTOGRAPHS:
        raise FettleError(f"At most {MOST_PHOTOGRAPHS} photographs can be sent at once. Send the rest after these.")
    kept = 0
    for file in files:
        try:
            photograph = receive(file, by=desk.by, at=desk.at)  # type: ignore[arg-type]  # an uploaded file is read as one
        except NotAPhotograph as error:
            messages.error(request, f"{(file.name or 'One file')[:80]} was not kept. {error.message}")
            continue
        view = request.POST.get("view", "")
        services.attach_photograph(desk.begun(), photograph, view=view, by=desk.by, at=desk.at)
        kept += 1
    if kept:
        messages.success(request, f"{kept} photograph{'s' if kept > 1 else ''} kept.")
    return desk.back("photographs")


@touch
@permitted("survey.write")
def undo(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Take back the last touch."""
    desk = Desk.of(request, pk)
    if desk.assessment is None:
        raise FettleError("Nothing is written of this object yet, so there is nothing to take back.")
    said = services.undo(desk.assessment, by=desk.by, at=desk.at)
    messages.success(request, f"Taken back: {said}.")
    return desk.back(request.POST.get("step", ""), part=request.POST.get("part", ""))
