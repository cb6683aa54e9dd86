"""Bringing in a register: upload, matching of columns, preview, writing, undoing."""

from __future__ import annotations

import uuid
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
from survey.register.db.models import ImportState, RegisterImport, RegisterSource, Verdict
from survey.register.db.selectors import imports as selectors
from survey.register.db.selectors.placing import unplaced
from survey.register.db.services import imports as services
from survey.register.fields import FIELDS
from survey.register.web.import_forms import COLUMN, MatchingForm, UploadForm

SHOWN = {
    Verdict.CREATE: "New",
    Verdict.CHANGE: "Changed",
    Verdict.SAME: "Unchanged",
    Verdict.LEFT: "Left out",
    Verdict.REFUSED: "Refused",
    "remarks": "With a remark",
    "kept": "Kept by undoing",
}
SAMPLES = 3


@require_GET
@permitted("register.read")
def imports(request: SignedIn) -> HttpResponse:
    """What was brought in, when, by whom."""
    page = selectors.imports_page(after=request.GET.get("after"))
    context = {"page": page, "may_write": may(request.user, "register.write")}
    return page_or_part(request, "survey/register/imports.html", "rows", context)


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def import_new(request: SignedIn) -> HttpResponse:
    """Take in a file."""
    form = UploadForm(request.POST, request.FILES) if request.method == "POST" else UploadForm()
    if form.is_valid():
        upload = form.cleaned_data["file"]
        try:
            batch = services.receive(upload.chunks(), upload.name, by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error("file", error.message)
        else:
            return redirect("register:import", pk=batch.pk)
    return render(request, "survey/register/import_new.html", {"form": form}, status=422 if form.errors else 200)


@require_GET
@permitted("register.read")
def import_(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One import as it stands: its columns to be matched, its preview, or what it did."""
    batch = selectors.the_import(pk)
    context = _context(request, batch)
    if batch.state in {ImportState.RECEIVED, ImportState.REFUSED}:
        if batch.state == ImportState.RECEIVED:
            context |= _matching(batch)
        return render(request, "survey/register/import.html", context)
    counts = batch.counts
    first = next((verdict for verdict in Verdict.values if counts.get(verdict)), Verdict.CREATE)
    show = request.GET.get("show", "kept" if counts.get("kept") else first)
    if show not in SHOWN:
        raise FettleError("This list of rows does not exist: choose one of those offered.")
    context |= {
        "page": selectors.rows_page(batch, show=show, after=request.GET.get("after")),
        "show": show,
        "chips": [(key, words, counts[key]) for key, words in SHOWN.items() if counts.get(key)],
        "doing": counts.get(Verdict.CREATE, 0) + counts.get(Verdict.CHANGE, 0),
    }
    if batch.state == ImportState.APPLIED and not request.htmx:
        context["unplaced"] = unplaced()
    return page_or_part(request, "survey/register/import.html", "rows", context)


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def import_match(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Correct the matching and have the file looked through."""
    batch = selectors.the_import(pk)
    context = _context(request, batch) | _matching(batch, request.POST if request.method == "POST" else None)
    form = context.get("form")
    if request.method == "POST" and form is not None and form.is_valid():
        try:
            options = form.options(context["reading"])
            services.choose(
                batch, columns=form.columns, options=options, source=form.cleaned_data["source"],
                by=request.user, at=timezone.now(),
            )  # fmt: skip
            services.ask_to_look(batch, by=request.user)
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            return redirect("register:import", pk=pk)
    context["matching_again"] = True
    status = 422 if request.method == "POST" else 200
    return render(request, "survey/register/import.html", context, status=status)


def _context(request: SignedIn, batch: RegisterImport) -> dict[str, Any]:
    may_write = may(request.user, "register.write")
    working = batch.job is not None and not batch.job.ended
    return {"batch": batch, "job": batch.job, "may_write": may_write, "working_now": working}


def _matching(batch: RegisterImport, data: Any = None) -> dict[str, Any]:
    """The form with, for each field, why its column was guessed and what stands in it."""
    try:
        with selectors.stored_file(batch.sha256).open("rb") as file:
            reading = services.reading_of(batch, file)
    except ValueError as error:
        return {"unreadable": str(error)}
    except FileNotFoundError:
        return {"unreadable": "Its file is not on this machine any more: take it in again."}
    source = batch.source.name if batch.source else ""
    form = MatchingForm(reading, data, options=batch.options, source=source)
    guesses = {guess.field: guess for guess in reading.matching.guesses}
    lines = []
    for field in FIELDS:
        guess = guesses.get(field.name)
        lines.append({"field": form[COLUMN + field.name], "guess": guess, "samples": _samples(reading, guess)})
    return {"form": form, "lines": lines, "reading": reading, "sources": RegisterSource.objects.order_by("name")[:100]}


def _samples(reading: services.Reading, guess: Any) -> list[str]:
    """A few different values of a column."""
    if guess is None:
        return []
    at = reading.table.header.index(guess.column)
    values = dict.fromkeys(row.values[at].strip()[:60] for row in reading.sample)
    return [value for value in values if value][:SAMPLES]


@require_POST
@permitted("register.write")
def import_bring_in(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Have the register written as the preview shows it."""
    services.ask_to_bring_in(selectors.the_import(pk), by=request.user)
    return redirect("register:import", pk=pk)


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def import_undo(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask, then put the register back as it was."""
    batch = selectors.the_import(pk)
    back = reverse("register:import", args=[pk])
    if request.method == "POST":
        services.ask_to_undo(batch, by=request.user)
        return redirect(back)
    counts = batch.counts
    return confirm(
        request,
        f"Undo the import of {batch.file_name}?",
        consequences=[
            f"{counts.get(Verdict.CREATE, 0)} objects that it made go, unless a record has come to name them.",
            f"{counts.get(Verdict.CHANGE, 0)} objects that it changed get back what they said before.",
            "What was changed by hand since then stays, and is listed.",
        ],
        action="Undo import",
        back_href=back,
        danger=True,
    )


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def import_discard(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask, then remove an import that has written nothing."""
    batch = selectors.the_import(pk)
    if request.method == "POST":
        services.discard(batch, by=request.user, at=timezone.now())
        messages.success(request, f"{batch.file_name} put away. The register is as it was.")
        return redirect("register:imports")
    return confirm(
        request,
        f"Put {batch.file_name} away?",
        consequences=[
            "The file and its preview go.",
            "The register stays as it is.",
        ],
        action="Put file away",
        back_href=reverse("register:import", args=[pk]),
        danger=True,
    )
