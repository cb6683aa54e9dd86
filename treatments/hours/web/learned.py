"""How well estimates hold, and the factor until enough treatments are finished."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from treatments.hours.db import selectors, services
from treatments.hours.db.selectors.holding import shown_learning
from treatments.hours.web.time_forms import FactorForm


@require_GET
@permitted("treatments.read")
def learned(request: SignedIn) -> HttpResponse:
    """What finished treatments teach, and how forecasts of each by all others would have held."""
    return _page(request)


def _page(request: SignedIn, *, form: FactorForm | None = None, refused: str = "") -> HttpResponse:
    shown = shown_learning()
    context = {
        "shown": shown,
        "form": form or FactorForm(initial={"factor": shown.known.factor}),
        "may_set": may(request.user, "settings.write"),
        "refused": refused,
    }
    return render(request, "treatments/hours/learned.html", context, status=422 if refused else 200)


@require_POST
@permitted("settings.write")
def factor(request: SignedIn) -> HttpResponse:
    """Set the factor on estimates, as long as the department's own does not count."""
    form = FactorForm(request.POST)
    if selectors.experience().reference.enough:
        raise FettleError("Your own finished treatments set the factor now, so none can be set by hand.")
    if not form.is_valid():
        return _page(request, form=form, refused="The factor was not changed: give a number, and say why.")
    try:
        row = services.set_factor(
            form.cleaned_data["factor"], form.cleaned_data["reason"], by=request.user, at=timezone.now()
        )
    except FettleError as error:
        return _page(request, form=form, refused=error.message)
    messages.success(request, f"Estimates are multiplied by {row.factor:g} from now on. Forecast again to count it in.")
    return redirect("hours:learned")
