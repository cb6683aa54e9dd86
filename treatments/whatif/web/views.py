"""What if? Scenarios side by side, and the least that must give way."""

from __future__ import annotations

import uuid
from datetime import date
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from survey.register.db.models import Exhibition
from survey.register.db.selectors import current_exhibition
from treatments.forecast.db.selectors import days_ahead, nobody_works
from treatments.options.db.selectors import table_in_use
from treatments.whatif.db import selectors, services
from treatments.whatif.web.forms import LeastForm, ScenarioForm

BAD = HTTPStatus.UNPROCESSABLE_ENTITY


def _exhibition() -> Exhibition:
    found = current_exhibition(timezone.localdate())
    if found is None:
        raise FettleError("No exhibition is being prepared. Add one with its dates and a checklist first.")
    return found


@require_GET
@permitted("forecast.read")
def scenarios(request: SignedIn) -> HttpResponse:
    """All scenarios beside the record as it is, and the newest search for what must give way."""
    return _page(request)


def _page(
    request: SignedIn, *, form: ScenarioForm | None = None, least: LeastForm | None = None, status: int = 200
) -> HttpResponse:
    exhibition = current_exhibition(timezone.localdate())
    known = selectors.scenarios(exhibition)
    compared, given = selectors.newest_comparison(exhibition), selectors.newest_giving_way(exhibition)
    job = selectors.running_job(exhibition)
    numbers = selectors.numbers_of(exhibition) if exhibition else {}
    columns = [_shown(result) for result in compared.results] if compared else []
    there = {str(row.pk) for row in known}
    reckoned = {column["scenario"] for column in columns}
    context: dict[str, Any] = {
        "exhibition": exhibition, "refusal": _refusal(exhibition), "nobody": nobody_works(), "job": job,
        "compared": compared, "columns": [c for c in columns if not c["scenario"] or c["scenario"] in there],
        "waiting": [(r, selectors.change_words(r.changes, numbers)) for r in known if str(r.pk) not in reckoned],
        "room": selectors.MOST_SCENARIOS - len(known), "given": given,
        "form": form or ScenarioForm(numbers=numbers), "least": least or LeastForm(),
        "may_run": may(request.user, "forecast.run"),
    }  # fmt: skip
    return render(request, "treatments/whatif/scenarios.html", context, status=status)


def _refusal(exhibition: Exhibition | None) -> str:
    try:
        if exhibition:
            days_ahead(exhibition, timezone.localdate())
    except FettleError as error:
        return error.message
    return ""


def _shown(result: dict[str, Any]) -> dict[str, Any]:
    """A column as its page draws it: days as days."""
    if "refused" in result:
        return result
    by = result["by"]
    return {
        **result, "by": date.fromisoformat(by) if by else None, "opening": date.fromisoformat(result["opening"]),
        "low": result["needed"][0], "middle": result["needed"][1], "high": result["needed"][2],
    }  # fmt: skip


@require_POST
@permitted("forecast.run")
def add(request: SignedIn) -> HttpResponse:
    """Keep a scenario and reckon all of them."""
    exhibition = _exhibition()
    form = ScenarioForm(request.POST, numbers=selectors.numbers_of(exhibition))
    if not form.is_valid():
        return _page(request, form=form, status=BAD)
    try:
        services.add_scenario(exhibition, form.cleaned_data["name"], form.changes(), by=request.user, at=timezone.now())
    except FettleError as error:
        form.add_error(None, error.message)
        return _page(request, form=form, status=BAD)
    services.start_comparison(exhibition, by=request.user, at=timezone.now())
    return redirect("whatif:scenarios")


@require_POST
@permitted("forecast.run")
def remove(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    row = services.remove_scenario(pk, by=request.user, at=timezone.now())
    messages.success(request, f"Taken out: {row.name}.")
    return redirect("whatif:scenarios")


@require_POST
@permitted("forecast.run")
def compare(request: SignedIn) -> HttpResponse:
    """Reckon all scenarios by the record as it is now."""
    services.start_comparison(_exhibition(), by=request.user, at=timezone.now())
    return redirect("whatif:scenarios")


@require_GET
@permitted("forecast.read")
def plan(request: SignedIn, pk: int, turn: int) -> HttpResponse:
    """The plan of one scenario: which objects at which level, when, and what is left out."""
    row, found = selectors.reckoned(pk, turn)
    names = {level.code: level.name for level in table_in_use().levels}
    objects = [
        (key, number, names.get(level, level), date.fromisoformat(first), date.fromisoformat(last))
        for key, number, level, first, last in found["plan"]["objects"]
    ]
    context = {"found": found, "plan": found["plan"], "objects": objects, "row": row}
    return render(request, "treatments/whatif/plan.html", context)


@require_POST
@permitted("forecast.run")
def give_way(request: SignedIn) -> HttpResponse:
    """Search for the least that must give way."""
    form = LeastForm(request.POST)
    if not form.is_valid():
        return _page(request, least=form, status=BAD)
    said = form.cleaned_data | {"target": form.cleaned_data["target"] / 100}
    try:
        services.start_giving_way(_exhibition(), **said, by=request.user, at=timezone.now())
    except FettleError as error:
        form.add_error(None, error.message)
        return _page(request, least=form, status=BAD)
    return redirect("whatif:scenarios")


@require_POST
@permitted("forecast.run")
def keep_least(request: SignedIn, pk: int) -> HttpResponse:
    """Put what a search found beside the other scenarios."""
    row = selectors.the_giving_way(pk)
    name = f"Least for {row.target:.0%}"
    services.add_scenario(row.exhibition, name, row.result["changes"], by=request.user, at=timezone.now())
    services.start_comparison(row.exhibition, by=request.user, at=timezone.now())
    return redirect("whatif:scenarios")
