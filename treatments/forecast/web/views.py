"""Will we be ready?"""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.base.pages import page_or_part
from survey.register.db.models import Exhibition
from survey.register.db.selectors import current_exhibition
from treatments.forecast.db import selectors, services
from treatments.forecast.web.forms import MishapForm
from treatments.hours.db.selectors import experience


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


@require_http_methods(["GET", "POST"])
@permitted("forecast.read")
def between(request: SignedIn) -> HttpResponse:
    """Illness and surprises: what is assumed, what the record says; heads of conservation change it."""
    found = selectors.assumed_mishaps(in_hours_already=experience().reference.enough)
    form, refused = MishapForm(request.POST) if request.method == "POST" else MishapForm.of(found.row), ""
    if form.is_bound:
        if not may(request.user, "settings.write"):
            raise PermissionDenied
        if form.is_valid():
            try:
                services.set_mishap(form.values(), form.cleaned_data["reason"], by=request.user, at=timezone.now())
            except FettleError as error:
                refused = error.message
            else:
                messages.success(request, "Kept. Forecast again to count it in.")
                return redirect("forecast:between")
        else:
            refused = "Not changed: put right what is marked."
    context = {"between": found, "form": form, "refused": refused, "may_set": may(request.user, "settings.write")}
    return render(request, "treatments/forecast/between.html", context, status=422 if refused else 200)
