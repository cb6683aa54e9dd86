"""Will we be ready?"""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.base.pages import page_or_part
from survey.register.db.models import Exhibition
from survey.register.db.selectors import current_exhibition
from treatments.forecast.db import selectors, services


@require_GET
@permitted("forecast.read")
def forecast(request: SignedIn) -> HttpResponse:
    """The newest forecast of the exhibition being prepared, as a picture, with what is most likely late."""
    exhibition = current_exhibition(timezone.localdate())
    job = selectors.newest_job(exhibition)
    refusal = _refusal(exhibition)
    context = {
        "exhibition": exhibition,
        "shown": selectors.shown_forecast(exhibition),
        "job": job,
        "may_run": may(request.user, "forecast.run"),
        "may_stop": job is not None and (may(request.user, "jobs.cancel") or job.asked_by_id == request.user.pk),
        "refusal": refusal,
        "nobody": selectors.nobody_works(),
    }
    return render(request, "treatments/forecast/forecast.html", context)


def _refusal(exhibition: Exhibition | None) -> str:
    """Why nothing can be forecast for its dates; empty where something can."""
    if exhibition is None:
        return ""
    try:
        selectors.days_ahead(exhibition, timezone.localdate())
    except FettleError as error:
        return error.message
    return ""


@require_GET
@permitted("forecast.read")
def objects(request: SignedIn) -> HttpResponse:
    """Every object with work, the most likely late first."""
    exhibition = current_exhibition(timezone.localdate())
    found = selectors.latest_forecast(exhibition)
    page = selectors.late_page(found, after=request.GET.get("after"))
    return page_or_part(request, "treatments/forecast/objects.html", "rows", {"page": page, "forecast": found})


@require_POST
@permitted("forecast.run")
def run(request: SignedIn) -> HttpResponse:
    services.start_forecast(by=request.user, at=timezone.now())
    return redirect("forecast:forecast")
