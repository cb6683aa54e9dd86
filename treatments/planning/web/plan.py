"""Who does what, and when?"""

from __future__ import annotations

import uuid
from datetime import date
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, open_to_all, permitted
from media.base.errors import FettleError, NotThere
from survey.register.db.models import Exhibition
from survey.register.db.selectors import current_exhibition
from treatments.options.db.selectors import table_in_use
from treatments.planning.board import Shape
from treatments.planning.byhand import Placed
from treatments.planning.db import selectors, services
from treatments.planning.db.models import CalendarAddress, Plan, StaffMember
from treatments.planning.db.selectors import Arranged, WeekView
from treatments.planning.feed import Sitting, calendar_text
from treatments.planning.web.forms import EffectsForm, PlanForm

BAD = HTTPStatus.UNPROCESSABLE_ENTITY


@require_GET
@permitted("plan.read")
def plan(request: SignedIn) -> HttpResponse:
    """One week of the plan in detail, or all weeks; what is left out; how to plan anew."""
    return _page(request, PlanForm())


def _page(request: SignedIn, form: PlanForm, *, status: int = 200) -> HttpResponse:
    exhibition = current_exhibition(timezone.localdate())
    found = selectors.latest_plan(exhibition)
    job = selectors.newest_plan_job(exhibition)
    context: dict[str, Any] = {
        "exhibition": exhibition,
        "plan": found,
        "job": job,
        "form": form,
        "refusal": _refusal(exhibition),
        "nobody": not StaffMember.objects.exists(),
        "may_write": may(request.user, "plan.write"),
    }
    if found and exhibition:
        context |= {"pinned": selectors.pinned_objects(found), "left_must": sum(o["mandatory"] for o in found.left_out)}
        context["left_out"] = [{**one, "by": _day(one.get("by"))} for one in found.left_out]
        if request.GET.get("show") == "all":
            context["weeks"] = selectors.all_weeks(found)
        else:
            context |= _week(found, _day(request.GET.get("week")))
    return render(request, "treatments/planning/plan.html", context, status=status)


def _week(found: Plan, wanted: date | None) -> dict[str, Any]:
    """One week as it lies, what clashes anywhere in the plan, and what can be undone."""
    there = selectors.arranged(found, timezone.now())
    clashes = selectors.clashes_of(there)
    week = selectors.week_view(found, wanted, clashing={clash.key for clash in clashes})
    settled = found.finished_at is not None or found.job is None or found.job.ended
    return {
        "week": week, "clashes": selectors.clash_lines(there, clashes), "settled": settled,
        "locked": week.monday in there.locked, "newest_move": selectors.newest_move(found),
        "bars": _bars(there, week, settled),
    }  # fmt: skip


def _bars(there: Arranged, week: WeekView, settled: bool) -> list[tuple[Shape, Placed | None, str]]:
    """Bars of the board, each with its sitting if that may be moved by hand, and the word for where it lies."""
    placed = {one.key: one for one in there.placed}
    free = settled and week.monday not in there.locked
    return [
        (shape, one if free and not one.begun else None, services.place_word(one))
        for shape in week.board.bars
        if (one := placed.get(shape.key))
    ]


def _refusal(exhibition: Exhibition | None) -> str:
    """Why nothing can be planned for its dates; empty where something can."""
    if exhibition is None:
        return ""
    try:
        selectors.days_ahead(exhibition, timezone.localdate())
    except FettleError as error:
        return error.message
    return ""


def _day(text: str | None) -> date | None:
    """A day of an address; what is none is passed over, since this week is shown then."""
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        return None


@require_POST
@permitted("plan.write")
def make(request: SignedIn) -> HttpResponse:
    """Ask for a plan from scratch."""
    form = PlanForm(request.POST)
    if not form.is_valid():
        return _page(request, form, status=BAD)
    services.start_plan(by=request.user, at=timezone.now(), **form.cleaned_data)
    return redirect("planning:plan")


@require_POST
@permitted("plan.write")
def adapt(request: SignedIn) -> HttpResponse:
    """Adapt the plan that stands to what has changed, moving as little as possible."""
    services.start_plan(by=request.user, at=timezone.now(), adapt=True)
    return redirect("planning:plan")


@require_POST
@permitted("plan.write")
def pin(request: SignedIn, pk: uuid.UUID, thing: uuid.UUID) -> HttpResponse:
    """Hold an object's sittings where they are, or let them go."""
    to = request.POST.get("to") == "pinned"
    services.pin(selectors.the_plan(pk), thing, to=to, by=request.user, at=timezone.now())
    messages.success(request, "Pinned: it stays where it is when the work is planned again." if to else "Unpinned.")
    week = _day(request.POST.get("week"))
    return redirect(reverse("planning:plan") + (f"?week={week.isoformat()}" if week else ""))


@require_GET
@permitted("plan.read")
def sheet(request: SignedIn) -> HttpResponse:
    """Each person's week, to print."""
    found = selectors.latest_plan(current_exhibition(timezone.localdate()))
    if found is None:
        raise NotThere("There is no plan to print yet. Make one first.")
    week = selectors.week_view(found, _day(request.GET.get("week")))
    context = {"plan": found, "week": week, "sheets": selectors.sheets(found, week.monday)}
    return render(request, "treatments/planning/sheet.html", context)


@require_http_methods(["GET", "POST"])
@permitted("plan.write")
def effects(request: SignedIn) -> HttpResponse:
    """How much of an object's expected loss each level removes, editable by the department."""
    levels, known = table_in_use().levels, selectors.effects()
    form = EffectsForm(request.POST or None, levels=levels, known=known)
    if form.is_bound and form.is_valid():
        services.set_effects(form.values(), by=request.user, at=timezone.now())
        messages.success(request, "Kept. The next plan counts with these shares.")
        return redirect("planning:plan")
    return render(request, "treatments/planning/effects.html", {"form": form}, status=BAD if form.is_bound else 200)


@require_GET
@permitted("plan.read")
def calendars(request: SignedIn) -> HttpResponse:
    """Addresses under which calendar programs read a person's sittings: one's own, or everybody's for who may plan."""
    everybody = may(request.user, "plan.write")
    rows = StaffMember.objects.select_related("calendar_address").order_by("name")
    rows = rows if everybody else rows.filter(user=request.user)
    lines = [(row, _address(request, row)) for row in rows]
    return render(request, "treatments/planning/calendars.html", {"lines": lines, "everybody": everybody})


def _address(request: SignedIn, row: StaffMember) -> str:
    found: CalendarAddress | None = getattr(row, "calendar_address", None)
    return request.build_absolute_uri(reverse("planning:feed", args=[found.token])) if found else ""


@require_POST
@permitted("plan.read")
def calendar_change(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Make a new address for somebody's calendar, or end it: one's own, or anybody's for who may plan."""
    row = services.member(pk)
    if not (may(request.user, "plan.write") or row.user_id == request.user.pk):
        raise FettleError("Only your own calendar address is yours to change.")
    if request.POST.get("to") == "end":
        services.end_address(row, by=request.user, at=timezone.now())
        messages.success(request, f"{row.name}'s calendar address has ended.")
    else:
        services.make_address(row, by=request.user, at=timezone.now())
        messages.success(request, f"{row.name} has a new calendar address; one made before works no more.")
    return redirect("planning:calendars")


@require_GET
@open_to_all("a calendar program cannot sign in; the address itself is the secret, and can be ended")
def feed(request: SignedIn, token: str) -> HttpResponse:
    """One person's sittings as text/calendar."""
    found = selectors.calendar_lines(token)
    if found is None:
        raise Http404
    address, standing, lines = found
    sittings = [
        Sitting(
            uid=f"{line.step.plan_id}.{line.step.object_id}.{line.step.code}@fettle",
            starts=line.step.starts,
            ends=line.step.ends,
            summary=f"{line.step.object.number}: {line.step.name}",
            description=f"{line.level}. Planned, not certain; look at the object's page before you begin.",
            location=line.step.object.place.full_name if line.step.object.place else "",
        )
        for line in lines
    ]
    stamp = standing.kept_at if standing and standing.kept_at else address.made_at
    text = calendar_text(f"Plan of {address.staff.name}", sittings, stamp=stamp)
    response = HttpResponse(text, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="plan.ics"'
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    patch_cache_control(response, private=True, no_store=True)
    return response
