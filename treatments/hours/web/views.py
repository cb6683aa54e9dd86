"""How far to treat each object, and how many hours that takes."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.base.pages import page_or_part
from treatments.hours.db import selectors
from treatments.hours.web.forms import ChoiceForm
from treatments.options.db import services as options


@require_GET
@permitted("treatments.read")
def treatments(request: SignedIn) -> HttpResponse:
    """The checklist with the level that counts for each object, most hours first."""
    page = selectors.treatments_page(after=request.GET.get("after"), level=request.GET.get("level", ""))
    return page_or_part(request, "treatments/hours/treatments.html", "rows", {"page": page})


@require_GET
@permitted("treatments.read")
def object_(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """All levels for one object side by side."""
    shown = selectors.object_levels(pk)
    context = {"shown": shown, "object": shown.object, "may_choose": may(request.user, "treatments.write")}
    return render(request, "treatments/hours/object.html", context)


@require_POST
@permitted("treatments.write")
def choose(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    form = ChoiceForm(request.POST)
    if not form.is_valid():
        raise FettleError(
            "The level was not chosen: " + "; ".join(str(e) for errors in form.errors.values() for e in errors)
        )
    shown = selectors.object_levels(pk)
    if shown.exhibition is None:
        raise FettleError("There is no exhibition to choose a level for. Add one first.")
    options.choose_level(
        shown.exhibition, shown.object, form.cleaned_data["level"], why=form.cleaned_data["why"],
        look_again_on=form.cleaned_data["look_again_on"], by=request.user, at=timezone.now(),
    )  # fmt: skip
    messages.success(request, f"Chosen for {shown.object.number}. Make a new forecast to see what it changes.")
    return redirect("hours:object", pk=pk)


@require_POST
@permitted("treatments.write")
def take_back(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    shown = selectors.object_levels(pk)
    if shown.exhibition is None:
        raise FettleError("There is no exhibition to choose a level for. Add one first.")
    options.withdraw_level(shown.exhibition, shown.object, by=request.user, at=timezone.now())
    messages.success(request, f"The choice for {shown.object.number} was taken back.")
    return redirect("hours:object", pk=pk)
