"""Scoring again: start, watch, stop."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import Clash
from media.base.models import Job, JobState
from survey.risk.db.selectors.summary import RUN_JOB
from survey.risk.db.services import score_again, stop_scoring


@require_POST
@permitted("ranking.run")
def run(request: SignedIn) -> HttpResponse:
    """Start a scoring of everything."""
    try:
        score_again(by=request.user, at=timezone.now())
    except Clash as error:
        messages.info(request, error.message)
    return redirect("risk:ranking")


@require_GET
@permitted("ranking.read")
def progress(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """The panel of a scoring; once it is done, the page round it is drawn anew."""
    job = get_object_or_404(Job, pk=pk, name=RUN_JOB)
    context = {"job": job, "may_run": may(request.user, "ranking.run")}
    response = render(request, "survey/risk/_job.html", context)
    if job.state == JobState.DONE and request.htmx:
        response["HX-Refresh"] = "true"
    return response


@require_POST
@permitted("ranking.run")
def stop(request: SignedIn) -> HttpResponse:
    """Stop the scoring that goes on."""
    stop_scoring(by=request.user, at=timezone.now())
    messages.success(request, "Scoring is being stopped. The scores shown stay those of the last run.")
    return redirect("risk:ranking")
