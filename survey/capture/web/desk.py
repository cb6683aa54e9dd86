"""What people do about tablets at a desk: decide what was told twice, take in what waits, load a file."""

from __future__ import annotations

import uuid
from typing import Any, cast

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.base.pages import page_or_part
from survey.capture.db import services
from survey.capture.db.models import Operation
from survey.capture.db.selectors import reconciling
from survey.capture.db.services.loading import load as load_file


@require_GET
@permitted("survey.read")
def reconcile(request: SignedIn) -> HttpResponse:
    """What do people say differently, and what waits?"""
    conflicts = reconciling.open_conflicts(after=request.GET.get("after"))
    waiting = reconciling.waiting(after=request.GET.get("waiting"))
    context = {
        "page": conflicts,
        "questions": reconciling.questions(conflicts.rows),
        "waiting": waiting,
        "rows": [{"row": row, "told": reconciling.told(row)} for row in waiting.rows],
        "devices": reconciling.devices(),
        "photographs": reconciling.photographs_missing(),
        "may_decide": may(request.user, "register.write"),
    }
    return page_or_part(request, "survey/capture/reconcile.html", "questions", context)


@require_POST
@permitted("register.write")
def decide(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One disagreement: which side stands, or that both do."""
    conflict = reconciling.the_conflict(pk)
    note, at = request.POST.get("note", ""), timezone.now()
    if conflict.kind == "parts":
        services.let_both_stand(conflict, note=note, by=request.user, at=at)
    else:
        services.decide_field(conflict, request.POST.get("edit", ""), note=note, by=request.user, at=at)
    messages.success(request, "Decided. Both sides stay in the record.")
    return redirect("capture:reconcile")


@require_POST
@permitted("register.write")
def decide_operation(request: SignedIn, pk: int) -> HttpResponse:
    """One operation that waits: try it again, say which object it means, add the object, or set it aside."""
    row = reconciling.the_operation(pk)
    messages.success(request, _done(request, row))
    return redirect("capture:reconcile")


def _done(request: SignedIn, row: Operation) -> str:
    what, at = request.POST.get("what", ""), timezone.now()
    if what == "take_in":
        now = services.take_in(row, by=request.user, at=at)
        return f"It still waits. {now.reason}" if now.reason else "Taken in."
    if what == "set_aside":
        services.set_aside(row, reason=request.POST.get("reason", ""), by=request.user, at=at)
        return "Set aside. It stays as it came."
    if what == "add":
        made = services.add_unlisted(row, by=request.user, at=at)
        return f"{made.number} is in the register now."
    if what == "name":
        known = services.say_which(row, request.POST.get("number", ""), by=request.user, at=at)
        return f"It is {known.number}."
    raise FettleError("Choose what to do with it.")


@require_http_methods(["GET", "POST"])
@permitted("survey.write")
def load(request: SignedIn) -> HttpResponse:
    """What became of a tablet's file?"""
    context: dict[str, Any] = {}
    status = 200
    if request.method == "POST":
        file = request.FILES.get("file")
        try:
            if file is None:
                raise FettleError("Choose the file that the tablet made.")
            delivery = services.Delivery(request.user, timezone.now())
            context["loaded"] = load_file(cast(Any, file), delivery=delivery)
        except FettleError as error:
            context["error"], status = error.message, 422
    return render(request, "survey/capture/load.html", context, status=status)
