"""Going on to the next object, freezing, discarding, correcting, and reading what is frozen."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import Clash
from media.base.pages import confirm
from survey.condition.db import services
from survey.condition.db.models import Assessment
from survey.condition.db.selectors import definitions, photographs_in, restorations_seen, the_assessment
from survey.condition.db.selectors.assessments import correction_of
from survey.condition.web.desk import Desk, touch
from survey.condition.web.pages import graded
from survey.register.db.selectors.objects import the_object


@touch
@permitted("survey.write")
def next_object(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Freeze what is complete and go on; what is not complete is said first, and may be left unfinished."""
    desk = Desk.of(request, pk)
    if desk.assessment and "leave" not in request.POST:
        try:
            services.finish_assessment(desk.assessment, by=desk.by, at=desk.at)
        except services.NotComplete:
            return desk.back("check", incomplete="1")
        # The rescue from a slip of the finger, on the page that the same touch opened.
        href = reverse("condition:assessment", kwargs={"pk": desk.assessment.pk})
        words = format_html("{} is frozen. <a class='link' href='{}'>Read or correct it</a>", desk.object.number, href)
        messages.success(request, words)
    elif desk.assessment:
        messages.info(request, f"{desk.object.number} stays unfinished; it waits on the survey page.")
    return _onward(desk)


def _onward(desk: Desk) -> HttpResponse:
    following = desk.neighbours.next_left
    if following and following.id != desk.object.pk:
        return Desk(desk.request, the_object(following.id), desk.shelf, desk.round, None).back()
    if desk.shelf is None:
        return redirect("condition:survey")
    return redirect("condition:shelf", pk=desk.shelf.pk)


@require_http_methods(["GET", "POST"])
@permitted("survey.write")
def discard(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Throw an unfinished assessment away, after asking."""
    desk = Desk.of(request, pk)
    if desk.assessment is None:
        raise Clash("You have no unfinished assessment of this object, so there is nothing to discard.")
    if request.method == "POST":
        services.discard_assessment(desk.assessment, by=desk.by, at=desk.at)
        messages.success(request, f"The unfinished assessment of {desk.object.number} is discarded.")
        return desk.back()
    parts = sum(len(each.things) for each in desk.restorations)
    return confirm(
        request,
        f"Discard what you have noted on {desk.object.number}?",
        consequences=[
            f"All answers since {timezone.localtime(desk.assessment.started_at):%H:%M on %-d %B %Y} are lost.",
            f"Of {parts} joints, fills and areas of paint, those that you added now are removed.",
            "Photographs stay in the store, but no longer with this object. Earlier assessments stay as they are.",
        ],
        action="Discard this assessment",
        danger=True,
        back_href=desk.address("check"),
    )


@require_GET
@permitted("survey.read")
def assessment(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """What was found on this object, on that day, by whom? Read only."""
    row = the_assessment(pk)
    context = {
        "assessment": row,
        "object": row.object,
        "book": definitions(row.definitions),
        "restorations": restorations_seen(row),
        "photographs": photographs_in(row),
        "grades": graded(row),
        "correction": correction_of(row),
        "minutes": _minutes(row),
        "may_write": may(request.user, "survey.write"),
        "mine": row.surveyor_id == request.user.pk,
    }
    return render(request, "survey/condition/assessment.html", context)


def _minutes(row: Assessment) -> int | None:
    """How long the look took; a correction keeps the old look's beginning, so it has no length of its own."""
    if row.finished_at is None or row.corrects_id:
        return None
    seconds = (row.finished_at - row.started_at).total_seconds()
    return max(1, round(seconds / 60)) if seconds > 0 else None


@require_POST
@permitted("survey.write")
def correct(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Begin a correction: a new assessment that names the old and says all that it says."""
    old = the_assessment(pk)
    services.correct_assessment(old, by=request.user, at=timezone.now())
    messages.success(request, "This is a correction. It says what the old assessment said; change what is wrong.")
    return Desk.of(request, old.object_id).back("look")
