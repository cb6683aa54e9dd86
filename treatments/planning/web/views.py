"""Who works when, and at which bench."""

from __future__ import annotations

import uuid
from datetime import timedelta
from http import HTTPStatus

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.pages import confirm
from treatments.planning.db import selectors, services
from treatments.planning.db.models import StaffMember
from treatments.planning.web.forms import BenchForm, HolidayForm, LeaveForm, MemberForm

BAD = HTTPStatus.UNPROCESSABLE_ENTITY


@require_GET
@permitted("treatments.read")
def staff(request: SignedIn) -> HttpResponse:
    """Everybody with their skills, hours and coming leave; days off; benches."""
    return _staff_page(request)


def _staff_page(
    request: SignedIn, *, benches: BenchForm | None = None, holiday: HolidayForm | None = None, status: int = 200
) -> HttpResponse:
    today = timezone.localdate()
    members = selectors.staff_members()
    lines = [selectors.staff_line(row, today) for row in members]
    context = {
        "lines": lines,
        "today": today,
        "hours": sum(line.bench for line in lines if line.here),
        "holidays": selectors.holidays(today, today + timedelta(days=730)),
        "benches": benches or BenchForm(initial=selectors.workplaces()),
        "holiday": holiday or HolidayForm(),
        "may_change": may(request.user, "staff.write"),
    }
    return render(request, "treatments/planning/staff.html", context, status=status)


@require_http_methods(["GET", "POST"])
@permitted("staff.write")
def member_new(request: SignedIn) -> HttpResponse:
    return _member(request, StaffMember(), MemberForm(request.POST if request.method == "POST" else None))


@require_http_methods(["GET", "POST"])
@permitted("staff.write")
def member_edit(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    row = services.member(pk)
    posted = request.method == "POST"
    return _member(request, row, MemberForm(request.POST, member=row) if posted else MemberForm.of(row))


def _member(request: SignedIn, row: StaffMember, form: MemberForm) -> HttpResponse:
    if form.is_bound and form.is_valid():
        services.save_member(row, form.values(), by=request.user, at=timezone.now())
        messages.success(request, f"{row.name} is on the staff list.")
        return redirect("planning:staff")
    context = {"form": form, "member": row, "leave": LeaveForm(), "new": row._state.adding}
    return render(request, "treatments/planning/member.html", context, status=BAD if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@permitted("staff.write")
def member_remove(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    row = services.member(pk)
    if request.method == "POST":
        services.remove_member(row, by=request.user, at=timezone.now())
        messages.success(request, f"{row.name} is off the staff list.")
        return redirect("planning:staff")
    return confirm(
        request,
        f"Take {row.name} off the staff list?",
        action="Take off the list",
        consequences=[
            "Their hours no longer count in forecasts.",
            "Their leave is forgotten.",
            "Hours that they logged stay.",
        ],
        back_href="../",
        danger=True,
    )


@require_POST
@permitted("staff.write")
def leave_add(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    row, form = services.member(pk), LeaveForm(request.POST)
    if not form.is_valid():
        context = {"form": MemberForm.of(row), "member": row, "leave": form, "new": False}
        return render(request, "treatments/planning/member.html", context, status=BAD)
    services.add_leave(row, **form.cleaned_data, by=request.user, at=timezone.now())
    messages.success(request, "Leave added.")
    return redirect("planning:member", pk=pk)


@require_POST
@permitted("staff.write")
def leave_remove(request: SignedIn, pk: uuid.UUID, leave: int) -> HttpResponse:
    services.remove_leave(services.member(pk), leave, by=request.user, at=timezone.now())
    messages.success(request, "Leave taken out.")
    return redirect("planning:member", pk=pk)


@require_POST
@permitted("staff.write")
def holiday_add(request: SignedIn) -> HttpResponse:
    form = HolidayForm(request.POST)
    if not form.is_valid():
        return _staff_page(request, holiday=form, status=BAD)
    services.add_holiday(form.cleaned_data["date"], form.cleaned_data["name"], by=request.user, at=timezone.now())
    messages.success(request, "Day off added for everybody.")
    return redirect("planning:staff")


@require_POST
@permitted("staff.write")
def holiday_remove(request: SignedIn, pk: int) -> HttpResponse:
    services.remove_holiday(pk, by=request.user, at=timezone.now())
    messages.success(request, "Day off taken out.")
    return redirect("planning:staff")


@require_POST
@permitted("staff.write")
def benches(request: SignedIn) -> HttpResponse:
    form = BenchForm(request.POST)
    if not form.is_valid():
        return _staff_page(request, benches=form, status=BAD)
    services.set_workplaces(form.cleaned_data, by=request.user, at=timezone.now())
    messages.success(request, "Benches changed.")
    return redirect("planning:staff")
