"""Arranging the plan by hand: move a sitting, swap two, undo, lock a week."""

from __future__ import annotations

import uuid
from datetime import date, timedelta
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, permitted
from media.base.errors import FettleError, NotThere
from survey.register.db.selectors import current_exhibition
from treatments.planning.byhand import Placed, free_places, moved
from treatments.planning.calendar import monday_of
from treatments.planning.db import selectors, services
from treatments.planning.db.selectors import Arranged
from treatments.planning.web.hand_forms import MoveForm, SwapForm

FEW = 3  # free places under which more are looked for, with what follows going along
BAD = HTTPStatus.UNPROCESSABLE_ENTITY


def _there(pk: uuid.UUID, key: int) -> tuple[Arranged, Placed]:
    there = selectors.arranged(selectors.the_plan(pk), timezone.now())
    one = there.one(key)
    if one is None:
        raise NotThere("This sitting is not in the plan any more. Look at the newest plan.")
    return there, one


def _week_of(there: Arranged, one: Placed) -> date:
    return monday_of(there.moment(one.start).date())


def _board(monday: date) -> str:
    return f"{reverse('planning:plan')}?week={monday.isoformat()}#board"


def _swaps(there: Arranged, one: Placed) -> list[tuple[int, str]]:
    """Sittings still to come of the same week, of whom and when."""
    monday = _week_of(there, one)
    near = [o for o in there.placed if o.key != one.key and not o.begun and _week_of(there, o) == monday]
    near.sort(key=lambda other: (other.start, there.person(other)))
    return [(o.key, f"{there.where(o)}: {there.numbers[o.key]}, {there.steps[o.key]}") for o in near]


@require_http_methods(["GET", "POST"])
@permitted("plan.write")
def sitting(request: SignedIn, pk: uuid.UUID, key: int) -> HttpResponse:
    """Choose where a sitting goes, without dragging; or put it there."""
    there, one = _there(pk, key)
    form = MoveForm(request.POST or None, there=there, one=one)
    if request.method == "GET" or not form.is_valid():
        return _page(request, there, one, form, status=BAD if form.is_bound else 200)
    try:
        made = services.move(pk, key, **form.values(), by=request.user, at=timezone.now())
    except services.WouldClash as clash:
        return _page(request, there, one, form, clash=clash.lines, status=clash.status)
    messages.success(request, f"Moved and pinned. {made.words}")
    return redirect(_board(monday_of(form.cleaned_data["day"])))


def _page(
    request: SignedIn,
    there: Arranged,
    one: Placed,
    form: MoveForm,
    *,
    swap: SwapForm | None = None,
    clash: list[str] | None = None,
    status: int = 200,
) -> HttpResponse:
    context: dict[str, Any] = {
        "there": there, "one": one, "form": form, "clash": clash, "swap": swap or SwapForm(choices=_swaps(there, one)),
        "number": there.numbers[one.key], "step": there.steps[one.key], "where": there.where(one),
        "monday": _week_of(there, one), "locked": there.is_locked(one), "was": services.place_word(one),
        "places": [] if one.begun else _places(there, one),
        "clashing": [line.words for line in selectors.clash_lines(there, selectors.clashes_of(there, one.key))],
    }  # fmt: skip
    return render(request, "treatments/planning/sitting.html", context, status=status)


def _places(there: Arranged, one: Placed) -> list[dict[str, Any]]:
    """Where it fits as it is; where that is hardly anywhere, also where it fits if what follows goes along."""
    found = [(place, "") for place in free_places(there.placed, there.room, one.key, since=there.room.now)]
    if len(found) < FEW:
        known = {(place.person, place.start) for place, _ in found}
        for place in free_places(there.placed, there.room, one.key, since=one.start, carry=True):
            after = moved(there.placed, there.room, one.key, person=place.person, start=place.start, carry=True)
            if (place.person, place.start) not in known and not selectors.new_clashes(there, after):
                found.append((place, "; what follows goes along"))
    return [
        {"words": there.where(place) + along, "staff": place.person, "moment": there.moment(place.start)}
        for place, along in found
        if not there.is_locked(place)
    ]


@require_GET
@permitted("plan.write")
def try_out(request: SignedIn, pk: uuid.UUID, key: int) -> JsonResponse:
    """What a move, or a swap, would do: where it lies then, what moves along, what clashes. Nothing is changed."""
    there, one = _there(pk, key)
    try:
        after = _wanted(request, there, one)
    except FettleError as error:
        return JsonResponse({"refused": error.message})
    pairs = selectors.changes(there, after)
    return JsonResponse(
        {
            "where": [there.where(now) for _, now in pairs],
            "along": selectors.move_lines(there, [pair for pair in pairs if pair[0].key != key]),
            "clashes": [line.words for line in selectors.new_clashes(there, after)],
        }
    )


def _wanted(request: SignedIn, there: Arranged, one: Placed) -> list[Placed]:
    if "other" in request.GET:
        return services.proposed_swap(there, one, request.GET["other"])
    form = MoveForm(request.GET, there=there, one=one)
    if not form.is_valid():
        raise FettleError("Choose a person and a time of the plan.")
    values = form.values()
    return services.proposed(there, one, **{name: values[name] for name in ("staff", "starts", "carry")})


@require_POST
@permitted("plan.write")
def swap(request: SignedIn, pk: uuid.UUID, key: int) -> HttpResponse:
    """Let two sittings change places."""
    there, one = _there(pk, key)
    known = [(o.key, "") for o in there.placed]
    form = SwapForm(request.POST, choices=known)
    if not form.is_valid():
        return _page(request, there, one, MoveForm(there=there, one=one), status=BAD)
    said = form.cleaned_data
    try:
        made = services.swap(
            pk, key, said["other"], was=said["was"], sure=said["sure"], by=request.user, at=timezone.now()
        )
    except services.WouldClash as clash:
        again = SwapForm(request.POST, choices=_swaps(there, one))
        unbound = MoveForm(there=there, one=one)
        return _page(request, there, one, unbound, swap=again, clash=clash.lines, status=clash.status)
    messages.success(request, f"Swapped and pinned. {made.words}")
    return redirect(_board(_week_of(there, one)))


@require_POST
@permitted("plan.write")
def undo(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Put back what was moved by hand last."""
    made = services.undo_move(pk, by=request.user, at=timezone.now())
    messages.success(request, f"Put back. Undone was: {made.words}")
    return redirect(_board(_asked_week(request)))


@require_POST
@permitted("plan.write")
def lock(request: SignedIn) -> HttpResponse:
    """Lock a week, or let it go."""
    exhibition = current_exhibition(timezone.localdate())
    if exhibition is None:
        raise FettleError("No exhibition is being prepared, so there is no week to lock.")
    monday, to = monday_of(_asked_week(request)), request.POST.get("to") == "locked"
    services.lock_week(exhibition, monday, to=to, by=request.user, at=timezone.now())
    sunday = monday + timedelta(days=6)
    messages.success(
        request,
        f"The week to {sunday:%-d %B} is locked: nothing in it moves, by hand or by planning again."
        if to
        else f"The week to {sunday:%-d %B} is not locked any more.",
    )
    return redirect(_board(monday))


def _asked_week(request: SignedIn) -> date:
    try:
        return date.fromisoformat(request.POST.get("week", ""))
    except ValueError:
        return timezone.localdate()
