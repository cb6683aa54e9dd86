"""Which shelves are left, and walking along one."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any, cast
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.base.pages import confirm, page_or_part
from survey.condition.db import services
from survey.condition.db.selectors import newest, walking
from survey.condition.web.desk import CHOSEN_ROUND, current_round
from survey.condition.web.forms import RoundForm
from survey.register.db.selectors.places import the_place

WHICH = {"left": "Still to do", "begun": "Begun", "all": "All shelves"}


@require_GET
@permitted("survey.read")
def survey(request: SignedIn) -> HttpResponse:
    """Which shelves are left?"""
    chosen = current_round(request)
    which = request.GET.get("show", "left")
    which = which if which in WHICH else "left"
    page = walking.shelves(chosen, which=cast(walking.Which, which), after=request.GET.get("after"))
    context = {
        "round": chosen,
        "line": walking.round_line(chosen) if chosen else None,
        "rounds": walking.open_rounds(),
        "ended": walking.ended_rounds(),
        "lines": [
            {"place": line.place, "drawn": drawn(line.marks, may(request.user, "survey.write"))}
            for line in walking.shelf_lines(page.rows, chosen, request.user)
        ],
        "page": page,
        "which": which,
        "ways": WHICH,
        "unfinished": walking.unfinished_of(request.user),
        "may_write": may(request.user, "survey.write"),
    }
    return page_or_part(request, "survey/condition/survey.html", "shelves", context)


def drawn(marks: Sequence[walking.Mark], linked: bool) -> list[dict[str, Any]]:
    """Marks as the drawing of a shelf takes them, each leading to its object's assessment."""
    return [
        {
            "name": mark.number,
            "seen": mark.seen,
            "stage": mark.stage,
            "do_not_lift": mark.do_not_lift,
            "misplaced": mark.misplaced,
            "href": reverse("condition:assess", kwargs={"pk": mark.id}) if linked else "",
        }
        for mark in marks
    ]


@require_http_methods(["GET", "POST"])
@permitted("survey.write")
def start_round(request: SignedIn) -> HttpResponse:
    """A new round with its purpose, under the newest definitions."""
    form = RoundForm(request.POST or None, initial={"started_on": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        try:
            made = services.start_round(**form.cleaned_data, by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error("name", error.message)
        else:
            request.session[CHOSEN_ROUND] = str(made.pk)
            messages.success(request, f"“{made.name}” has begun. Choose a shelf.")
            return redirect("condition:survey")
    status = 422 if form.is_bound else 200
    context = {"form": form, "definitions": newest()}
    return render(request, "survey/condition/start_round.html", context, status=status)


@require_POST
@permitted("survey.write")
def choose_round(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Work in this round from now on."""
    chosen = walking.the_round(pk)
    request.session[CHOSEN_ROUND] = str(chosen.pk)
    messages.success(request, f"You now work in “{chosen.name}”.")
    return redirect("condition:survey")


@require_http_methods(["GET", "POST"])
@permitted("survey.write")
def end_round(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """End a round, after saying what that means."""
    chosen = walking.the_round(pk)
    if request.method == "POST":
        services.end_round(chosen, by=request.user, at=timezone.now())
        messages.success(request, f"“{chosen.name}” has ended.")
        return redirect("condition:survey")
    line = walking.round_line(chosen)
    return confirm(
        request,
        f"End “{chosen.name}”?",
        consequences=[
            f"{line.looked_at} of {line.objects} objects are looked at; no more can be added to this round.",
            f"{line.unfinished} unfinished assessments stay and can still be finished.",
        ],
        action="End the round",
        back_href=reverse("condition:survey"),
    )


@require_GET
@permitted("survey.read")
def shelf(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """What stands on this shelf, in walking order?"""
    place = the_place(pk)
    chosen = current_round(request)
    rows = list(walking.on_shelf(place).values_list("pk", "number", "simple_name"))
    marks = walking.marks(rows, chosen, request.user)
    context = {
        "place": place,
        "round": chosen,
        "marks": marks,
        "drawn": drawn(marks, may(request.user, "survey.write")),
        "looked_at": sum(mark.seen for mark in marks),
        "next": next((mark for mark in marks if not mark.seen), None),
        "may_write": may(request.user, "survey.write"),
    }
    return render(request, "survey/condition/shelf.html", context)


@require_GET
@permitted("survey.write")
def found_here(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """An object that stands on this shelf but is not on its list."""
    place = the_place(pk)
    number = request.GET.get("number", "").strip()
    found = walking.by_number(number) if number else None
    if found is None:
        why = f"No object in the register has the number “{number}”." if number else "Type the number on the object."
        messages.error(request, f"{why} Read it again, or note it for the registrar.")
        return redirect("condition:shelf", pk=pk)
    query = urlencode({"at": place.pk})
    return HttpResponseRedirect(f"{reverse('condition:assess', kwargs={'pk': found.pk})}?{query}")
