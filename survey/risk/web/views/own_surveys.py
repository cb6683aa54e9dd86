"""What our own surveys have taught us: the fit, having it made, and what the head does with it."""

from __future__ import annotations

import math
import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import Clash, FettleError
from survey.risk.db.models import OwnFit
from survey.risk.db.selectors import own_surveys as reading
from survey.risk.db.services import fitting as services
from survey.risk.fitting import misses_too_often
from survey.risk.own_fit import LEAST_JOINTS, LEAST_MOVES, joints_needed
from survey.risk.parameters import read
from survey.risk.stages import STAGES
from survey.risk.web import plots


@require_GET
@permitted("ranking.read")
def own_surveys(request: SignedIn) -> HttpResponse:
    """What have our own surveys taught us?"""
    fit, job = reading.newest_fit(), reading.fit_job()
    context: dict[str, Any] = {
        "fit": fit,
        "job": job,
        "may_run": may(request.user, "ranking.run"),
        "may_write": may(request.user, "settings.write"),
        "least": (LEAST_JOINTS, LEAST_MOVES),
        "stages": STAGES,
        "here": "own",
    }
    if fit:
        context |= {"adopted": reading.adopted_as(fit), "since": reading.seen_since(fit), **_needed(fit)}
        if fit.result:
            context |= _told(fit, fit.result)
    return render(request, "survey/risk/own_surveys.html", context)


def _needed(fit: OwnFit) -> dict[str, Any]:
    """How many joints would have to be looked at again, if the beliefs are right."""
    assumed = read(fit.parameters.values).assumptions
    return {"needed": list(enumerate(joints_needed(assumed.priors[assumed.middle])))}


def _told(fit: OwnFit, result: dict[str, Any]) -> dict[str, Any]:
    """What a result comes to, for words and drawings."""
    bins, rates = result["calibration"], result["rates"]
    held = sum(each["low"] <= each["foretold"] <= each["high"] for each in bins)
    return {
        "result": result,
        "rates": [{**line, "factor": math.exp(line["error"])} for line in rates],
        "prior_share": sum(line["prior_share"] for line in rates) / len(rates),
        "held": held,
        "doubtful": misses_too_often(held, len(bins)),
        "stays": plots.stays(rates),
        "cells": plots.moves(result["observed"], result["expected"]),
        "table": list(zip(range(len(STAGES)), result["observed"], result["expected"], strict=True)),
        "points": plots.calibration(bins),
        "across": plots.shares_across(),
        "up": plots.shares_up(),
        "workshops": reading.workshop_paces(result),
        "proposals": reading.proposals(fit),
    }


@require_POST
@permitted("ranking.run")
def fit_own(request: SignedIn) -> HttpResponse:
    """Have rates fitted to all looks on record."""
    try:
        services.ask_for_fit(by=request.user, at=timezone.now())
    except Clash as error:
        messages.info(request, error.message)
    return redirect("risk:own_surveys")


@require_POST
@permitted("settings.write")
def propose_own(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Make a draft of a parameter set from a fit, and see what it does before it is decided."""
    try:
        draft = services.propose_fit(reading.the_fit(pk), by=request.user, at=timezone.now())
    except FettleError as error:
        messages.error(request, error.message)
        return redirect("risk:own_surveys")
    return redirect("parameters:draft", pk=draft.pk)


@require_POST
@permitted("settings.write")
def leave_own(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Leave a fit, or take that back."""
    fit, at = reading.the_fit(pk), timezone.now()
    if fit.left_at:
        services.take_up_fit(fit, by=request.user, at=at)
        messages.success(request, "The fit is open for a decision again.")
    else:
        services.leave_fit(fit, by=request.user, at=at)
        messages.success(request, "Left. Nothing changes in the scores; the fit stays on record.")
    return redirect("risk:own_surveys")
