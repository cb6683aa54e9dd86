"""Sorting objects into places by the register's words: choices and preview, progress, going on, undoing."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.pages import confirm
from survey.register.db.models import SortingState
from survey.register.db.selectors import placing as selectors
from survey.register.db.services import placing as services
from survey.register.web.placing_forms import PlacingForm

SHOWN = 800
Words = Sequence[tuple[str, int]]


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def by_words(request: SignedIn) -> HttpResponse:
    """What each text would become; posted with what was shown, it is done."""
    words = selectors.words_of_unplaced()
    guess = selectors.guessed(words)
    posted = request.method == "POST"
    form = PlacingForm(request.POST) if posted else PlacingForm.begun(guess)
    plan = None
    if form.is_valid():
        choices = form.choices(_left(request, words, guess.left)) if posted else guess
        plan = selectors.plan_of(words, choices)
        if plan.problem:
            form.add_error("site", plan.problem)
    asked = posted and "shown" in request.POST
    if plan and asked and not form.errors and request.POST["shown"] == plan.fingerprint:
        sorting = services.ask_to_place(plan, by=request.user, at=timezone.now())
        return redirect("register:sorting", pk=sorting.pk)
    context = {
        "form": form,
        "plan": plan,
        "lines": plan.lines[:SHOWN] if plan else [],
        "more": max(0, len(words) - SHOWN),
        "any": bool(words),
        "unplaced": selectors.unplaced(),
        "most": selectors.MOST_TEXTS if len(words) == selectors.MOST_TEXTS else 0,
        "changed": asked and not form.errors,
        "earlier": selectors.earlier_sortings(),
        "going": selectors.open_sorting(),
    }
    return render(request, "survey/register/by_words.html", context, status=422 if form.errors or asked else 200)


def _left(request: SignedIn, words: Words, guessed: frozenset[str]) -> frozenset[str]:
    """Texts ticked to be left out, and of those too many to be shown what was guessed."""
    keys = set(request.POST.getlist("leave"))
    shown = {text for text, _ in words[:SHOWN] if selectors.key_of(text) in keys}
    return frozenset(shown | ({text for text, _ in words[SHOWN:]} & guessed))


@require_GET
@permitted("register.read")
def sorting(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One sorting: how far it is, or what it did."""
    found = selectors.the_sorting(pk)
    may_write = may(request.user, "register.write")
    context: dict[str, Any] = {"sorting": found, "job": found.job, "may_write": may_write}
    context["working_now"] = found.job is not None and not found.job.ended
    return render(request, "survey/register/sorting.html", context)


@require_POST
@permitted("register.write")
def sorting_go_on(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Have an interrupted sorting done to its end."""
    services.ask_to_go_on(selectors.the_sorting(pk), by=request.user)
    return redirect("register:sorting", pk=pk)


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def sorting_undo(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask, then take a sorting back."""
    found = selectors.the_sorting(pk)
    back = reverse("register:sorting", args=[pk])
    if request.method == "POST":
        services.ask_to_undo(found, by=request.user)
        return redirect(back)
    if found.state == SortingState.UNDONE:
        return redirect(back)
    return confirm(
        request,
        "Undo this sorting into places?",
        consequences=[
            "Objects that still stand where it put them have no place again.",
            "Objects that somebody has moved since stay where they are.",
            "Places that it made go, if they are empty and no record names them.",
        ],
        action="Undo sorting",
        back_href=back,
        danger=True,
    )
