"""Time at the bench: the clock, a person's week, an object's time, corrections."""

from __future__ import annotations

import uuid
from datetime import date, timedelta
from http import HTTPStatus

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.base.models import User
from media.base.pages import confirm
from media.base.sheets import as_csv
from treatments.hours.db import selectors, services
from treatments.hours.db.models import LoggedTime, Treatment
from treatments.hours.web.time_forms import FinishForm, StopForm, TimeForm

BAD = HTTPStatus.UNPROCESSABLE_ENTITY


@require_GET
@permitted("time.write")
def week(request: SignedIn) -> HttpResponse:
    """The clock and the week of the person signed in; heads of conservation see everybody's."""
    now, person = timezone.now(), _whose(request)
    shown = selectors.week_of(person, _day(request.GET.get("week", "")))
    context = {
        "shown": shown,
        "own": person == request.user,
        "people": selectors.people_who_log() if may(request.user, "time.others") else [],
        "clock": selectors.clock_of(request.user, now),
        "stop": StopForm(),
        "now": now,
        "today": timezone.localdate(now),
    }
    return render(request, "treatments/hours/week.html", context)


def _whose(request: SignedIn) -> User:
    who = request.GET.get("who", "")
    if not who or who == str(request.user.pk):
        return request.user
    if not may(request.user, "time.others"):
        raise PermissionDenied
    return selectors.the_person(who)


def _day(text: str) -> date:
    """The day asked for; today for none, and for one that is no day."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return timezone.localdate()
    return min(max(day, date(1990, 1, 1)), timezone.localdate() + timedelta(weeks=1))


@require_GET
@permitted("time.write")
def export(request: SignedIn) -> StreamingHttpResponse:
    """A year's time of one person, or for heads of everybody, as CSV."""
    person = None if may(request.user, "time.others") and not request.GET.get("who") else _whose(request)
    today = timezone.localdate()
    rows = selectors.time_rows(today - timedelta(days=366), today, person=person)
    return as_csv(selectors.TIME_COLUMNS, rows, f"time-{today.isoformat()}.csv")


@require_GET
@permitted("treatments.read")
def of_object(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """What an object's treatment took and takes, step by step, with the clock for each."""
    return _object_page(request, pk)


def _object_page(request: SignedIn, pk: uuid.UUID, *, form: TimeForm | None = None, refused: str = "") -> HttpResponse:
    now, shown = timezone.now(), selectors.object_time(pk)
    clock = selectors.clock_of(request.user, now)
    context = {
        "shown": shown,
        "object": shown.object,
        "clock": clock,
        "here": clock is not None and clock.row.object_id == pk,
        "stop": StopForm(),
        "form": form or _form(request, shown, initial={"on": timezone.localdate(now), "worker": request.user.pk}),
        "may_log": may(request.user, "time.write"),
        "may_all": may(request.user, "time.others"),
        "refused": refused,
        "now": now,
    }
    return render(request, "treatments/hours/time.html", context, status=BAD if refused else HTTPStatus.OK)


def _form(request: SignedIn, shown: selectors.ObjectTime, **more: object) -> TimeForm:
    steps = [*((step.code, step.name) for step in shown.steps), *shown.others]
    people = selectors.people_who_log() if may(request.user, "time.others") else []
    return TimeForm(request.POST if request.method == "POST" else None, steps=steps, people=people, **more)


@require_POST
@permitted("time.write")
def start(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Start the clock on a step; with ``instead``, stop first what runs."""
    shown, now = selectors.object_time(pk), timezone.now()
    try:
        if request.POST.get("instead") and selectors.clock_of(request.user, now):
            services.stop_clock(request.user, at=now)
        services.start_clock(shown.object, request.POST.get("step", "")[:40], worker=request.user, at=now)
    except FettleError as error:
        return _object_page(request, pk, refused=error.message)
    return redirect("hours:time_of_object", pk=pk)


@require_http_methods(["GET", "POST"])
@permitted("time.write")
def stop(request: SignedIn) -> HttpResponse:
    """Stop the clock; one that was forgotten is asked about first."""
    now = timezone.now()
    clock = selectors.clock_of(request.user, now)
    if clock is None:
        messages.warning(request, "No clock is running. If you worked, write the time down by hand.")
        return redirect("hours:time")
    form, refused = StopForm(request.POST if request.method == "POST" else None), ""
    if form.is_bound and form.is_valid() and (form.cleaned_data["ended_at"] or not clock.forgotten):
        said = form.cleaned_data
        try:
            row = services.stop_clock(
                request.user, at=now, ended_at=said["ended_at"], note=said["note"], step_done=said["step_done"]
            )
        except FettleError as error:
            refused = error.message
        else:
            if row is None:
                messages.warning(request, "The clock ran for less than a minute, so nothing was written down.")
            else:
                messages.success(request, f"{_words(row)} written down for {row.treatment.object}.")
            return redirect("hours:time_of_object", pk=clock.row.object_id)
    elif not form.is_bound:
        form = StopForm(initial={"ended_at": timezone.localtime(clock.suggested)} if clock.forgotten else None)
    elif clock.forgotten and not form.errors:
        form = StopForm(initial={**form.cleaned_data, "ended_at": timezone.localtime(clock.suggested)})
    context = {"clock": clock, "form": form, "refused": refused, "now": now}
    return render(request, "treatments/hours/stop.html", context, status=BAD if refused or form.errors else 200)


def _words(row: LoggedTime) -> str:
    minutes = round(row.hours * 60)
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


@require_http_methods(["GET", "POST"])
@permitted("time.write")
def discard(request: SignedIn) -> HttpResponse:
    clock = selectors.clock_of(request.user, timezone.now())
    if request.method == "POST":
        services.discard_clock(request.user, at=timezone.now())
        messages.success(request, "The clock was ended; nothing was written down.")
        return redirect("hours:time")
    if clock is None:
        raise FettleError("No clock is running, so there is nothing to discard.")
    return confirm(
        request,
        f"End the clock on {clock.row.object} without writing anything down?",
        consequences=[f"It has run since {clock.since:%-d %B, %H:%M}.", "Time can be written down by hand later."],
        action="End the clock",
        back_href=reverse("hours:time"),
        danger=True,
    )


@require_POST
@permitted("time.write")
def add(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Write time down by hand."""
    shown = selectors.object_time(pk)
    form = _form(request, shown)
    if not form.is_valid():
        return _object_page(request, pk, form=form, refused=f"Not written down yet. {form.complaint}")
    try:
        row = services.log_time(
            shown.object, form.said(), worker=_worker(request, form), by=request.user, at=timezone.now()
        )
    except FettleError as error:
        return _object_page(request, pk, form=form, refused=error.message)
    messages.success(request, f"{_words(row)} written down for {row.treatment.object}.")
    return redirect("hours:time_of_object", pk=pk)


def _worker(request: SignedIn, form: TimeForm) -> User:
    chosen = form.cleaned_data.get("worker")
    return selectors.the_person(str(chosen)) if chosen else request.user


def _own(request: SignedIn, pk: int) -> LoggedTime:
    """An entry that this person may change: their own, or for heads anybody's."""
    row = selectors.logged(pk)
    if row.worker_id != request.user.pk and not may(request.user, "time.others"):
        raise PermissionDenied
    return row


@require_http_methods(["GET", "POST"])
@permitted("time.write")
def correct(request: SignedIn, pk: int) -> HttpResponse:
    """Replace an entry by what is right; what it said before stays in the record."""
    row, refused = _own(request, pk), ""
    steps, posted = list(selectors.step_names().items()), request.method == "POST"
    if row.step not in dict(steps):
        steps.append((row.step, row.step))
    form = TimeForm(request.POST if posted else None, steps=steps, initial=TimeForm.of(row))
    if form.is_bound and form.is_valid():
        try:
            services.correct_time(row, form.said(), by=request.user, at=timezone.now())
        except FettleError as error:
            refused = error.message
        else:
            messages.success(request, "Corrected. What it said before stays in the record.")
            return redirect("hours:time_of_object", pk=row.treatment.object_id)
    context = {"form": form, "row": row, "refused": refused}
    return render(request, "treatments/hours/correct.html", context, status=BAD if refused or form.errors else 200)


@require_POST
@permitted("time.write")
def take_out(request: SignedIn, pk: int) -> HttpResponse:
    row = _own(request, pk)
    services.take_out(row, by=request.user, at=timezone.now())
    messages.success(request, "Struck. It can be put back below.")
    return redirect("hours:time_of_object", pk=row.treatment.object_id)


@require_POST
@permitted("time.write")
def put_back(request: SignedIn, pk: int) -> HttpResponse:
    row = _own(request, pk)
    services.put_back(row, by=request.user, at=timezone.now())
    messages.success(request, "It counts again.")
    return redirect("hours:time_of_object", pk=row.treatment.object_id)


def _going(pk: uuid.UUID) -> tuple[selectors.ObjectTime, Treatment]:
    shown = selectors.object_time(pk)
    if shown.treatment is None:
        raise FettleError(f"No treatment of {shown.object} goes on. Log its first hour to begin one.")
    return shown, shown.treatment


@require_http_methods(["GET", "POST"])
@permitted("time.write")
def finish(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Say that an object's treatment is done, and what taking down showed."""
    shown, row = _going(pk)
    form, refused = FinishForm(request.POST if request.method == "POST" else None), ""
    if not shown.taken_down:
        form.fields["surprise"].initial = ""
    if form.is_bound and form.is_valid():
        try:
            services.finish_treatment(
                row, surprise=form.found, note=form.cleaned_data["note"], by=request.user, at=timezone.now()
            )
        except FettleError as error:
            refused = error.message
        else:
            messages.success(
                request, f"The treatment of {shown.object} is finished; its hours teach the next estimate."
            )
            return redirect("hours:time_of_object", pk=pk)
    context = {"shown": shown, "object": shown.object, "form": form, "refused": refused}
    return render(request, "treatments/hours/finish.html", context, status=BAD if refused else 200)


@require_POST
@permitted("time.write")
def reopen(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Take the treatment that was finished last up again."""
    shown = selectors.object_time(pk)
    if not shown.finished:
        raise FettleError(f"No treatment of {shown.object} was finished, so none can be taken up again.")
    services.reopen_treatment(shown.finished[0], by=request.user, at=timezone.now())
    messages.success(request, f"The treatment of {shown.object} goes on.")
    return redirect("hours:time_of_object", pk=pk)
