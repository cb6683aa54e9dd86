"""Climates of places and the files of loggers that tell them."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.base.pages import confirm, page_or_part
from survey.register.db.selectors import the_place
from survey.register.db.services.places import edit_place
from survey.risk.ageing import SITE_CLIMATES
from survey.risk.db.models import LoggerFile, LoggerFileState
from survey.risk.db.selectors import loggers as selectors
from survey.risk.db.selectors.climate import Constants
from survey.risk.db.selectors.parameters import in_force
from survey.risk.db.selectors.place_climate import place_climate, places_page
from survey.risk.db.services import loggers as services
from survey.risk.logger_layout import Layout, guess_layout
from survey.risk.parameters import Parameters, read
from survey.risk.web.climate_forms import ClassForm, LayoutForm, UploadForm
from survey.risk.web.climate_plots import year_bars

TEMPLATES = "survey/risk/climate"


def _parameters() -> Parameters:
    now = in_force()
    return read(now.values if now else {})


@require_GET
@permitted("climate.read")
def places(request: SignedIn) -> HttpResponse:
    """All places with how fast joints age there."""
    chosen = _parameters()
    context = {
        "page": places_page(chosen, after=request.GET.get("after")),
        "default": SITE_CLIMATES[chosen.default_climate],
        "may_write": may(request.user, "climate.write"),
    }
    return page_or_part(request, f"{TEMPLATES}/places.html", "rows", context)


@require_GET
@permitted("climate.read")
def place(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One place: what was logged, gaps, equivalent years with their range."""
    shown = place_climate(the_place(pk), _parameters())
    context = {"shown": shown, "plot": year_bars(shown.years), "may_write": may(request.user, "climate.write")}
    return render(request, f"{TEMPLATES}/place.html", context)


@require_http_methods(["GET", "POST"])
@permitted("climate.write")
def place_class(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Say what a place is like where nothing was logged."""
    found = the_place(pk)
    form = ClassForm(request.POST or None, root=found.parent_id is None, initial={"climate": found.climate})
    if request.method == "POST" and form.is_valid():
        code = form.cleaned_data["climate"]
        edit_place(found, name=found.name, kind=found.kind, climate=code, by=request.user, at=timezone.now())
        messages.success(request, "Changed. The next scoring reckons with it.")
        return redirect("climate:place", pk=pk)
    rate = Constants.usual(_parameters())
    sites = [(site, site.rate(activation_energy=rate.activation_energy, humidity_exponent=rate.humidity_exponent))
             for site in SITE_CLIMATES.values()]  # fmt: skip
    context = {"place": found, "form": form, "sites": sites}
    return render(request, f"{TEMPLATES}/class.html", context, status=422 if form.errors else 200)


@require_GET
@permitted("climate.read")
def files(request: SignedIn) -> HttpResponse:
    """Files of loggers, and whether they count."""
    context = {
        "page": selectors.files_page(after=request.GET.get("after")),
        "may_write": may(request.user, "climate.write"),
    }
    return page_or_part(request, f"{TEMPLATES}/files.html", "rows", context)


@require_http_methods(["GET", "POST"])
@permitted("climate.write")
def file_new(request: SignedIn) -> HttpResponse:
    """Take in a file of a logger."""
    initial = {"place": request.GET.get("place")}
    form = UploadForm(request.POST, request.FILES) if request.method == "POST" else UploadForm(initial=initial)
    if form.is_valid():
        upload = form.cleaned_data["file"]
        try:
            made = services.receive(
                upload.chunks(), upload.name, place=form.cleaned_data["place"], by=request.user, at=timezone.now()
            )
        except FettleError as error:
            form.add_error("file", error.message)
        else:
            return redirect("climate:file", pk=made.pk)
    return render(request, f"{TEMPLATES}/file_new.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
@permitted("climate.read")
def file(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One file as it stands: how it is read, what it says, whether it counts."""
    found = selectors.the_file(pk)
    may_write = may(request.user, "climate.write")
    form = _layout_form(found, request.POST if request.method == "POST" else None) if may_write else None
    if request.method == "POST":
        if form is None:
            raise FettleError("This file cannot be read differently now.")
        if form.is_valid():
            try:
                services.look_through(found, reading=form.reading, stays=form.stays, by=request.user, at=timezone.now())
            except FettleError as error:
                _place_error(form, error.message)
            else:
                return redirect("climate:file", pk=pk)
    return _shown_file(request, found, form, may_write, status=422 if form and form.errors else 200)


def _place_error(form: LayoutForm, message: str) -> None:
    name, _, rest = message.partition(": ")
    form.add_error(name if rest and name in form.fields else None, rest if rest and name in form.fields else message)


def _layout_form(found: LoggerFile, data: Any) -> LayoutForm | None:
    """The form of a file whose reading can still be changed."""
    if found.state not in services.OPEN or (found.job and not found.job.ended):
        return None
    return LayoutForm(Layout.of(found.reading), selectors.stays_of(found), data)


def _shown_file(
    request: SignedIn, found: LoggerFile, form: LayoutForm | None, may_write: bool, *, status: int
) -> HttpResponse:
    context: dict[str, Any] = {"file": found, "form": form, "may_write": may_write, "job": found.job}
    if found.state == LoggerFileState.RECEIVED:
        context |= {"unsure": found.counts.get("unsure", []), "rows": _first_rows(found)}
    elif found.state != LoggerFileState.REFUSED:
        context |= {
            "summaries": selectors.summaries_of(found, Constants.usual(_parameters())),
            "overlaps": selectors.counted_already(found),
            "minutes": found.counts.get("interval", 0) / 60,
            "begins": datetime.fromisoformat(found.counts["first"]),
            "ends": datetime.fromisoformat(found.counts["last"]),
            "gaps": [tuple(map(datetime.fromisoformat, gap)) for gap in found.counts["gaps"]],
        }
    context["working_now"] = found.job is not None and not found.job.ended
    return render(request, f"{TEMPLATES}/file.html", context, status=status)


def _first_rows(found: LoggerFile) -> list[list[str]]:
    try:
        with selectors.stored(found.sha256).open("rb") as content:
            return [row[: len(found.reading["headings"])] for row in guess_layout(content).rows]
    except (FileNotFoundError, ValueError):
        return []


@require_POST
@permitted("climate.write")
def file_count(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Let a file count."""
    services.count(selectors.the_file(pk), by=request.user, at=timezone.now())
    messages.success(request, "It counts now. The next scoring reckons with it.")
    return redirect("climate:file", pk=pk)


@require_http_methods(["GET", "POST"])
@permitted("climate.write")
def file_take_back(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask, then let a file count no longer."""
    found = selectors.the_file(pk)
    if request.method == "POST":
        services.take_back(found, by=request.user, at=timezone.now())
        messages.success(request, "Taken back. The next scoring does without it.")
        return redirect("climate:file", pk=pk)
    return confirm(
        request,
        f"Take {found.file_name} back?",
        consequences=["Its readings count no longer for any place.", "The file stays, and can count again."],
        action="Take file back",
        back_href=reverse("climate:file", args=[pk]),
        danger=True,
    )


@require_http_methods(["GET", "POST"])
@permitted("climate.write")
def file_discard(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask, then remove a file that never counted."""
    found = selectors.the_file(pk)
    if request.method == "POST":
        services.discard(found, by=request.user, at=timezone.now())
        messages.success(request, f"{found.file_name} put away.")
        return redirect("climate:files")
    return confirm(
        request,
        f"Put {found.file_name} away?",
        consequences=["The file and what was read of it go.", "No score changes."],
        action="Put file away",
        back_href=reverse("climate:file", args=[pk]),
        danger=True,
    )
