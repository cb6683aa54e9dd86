"""Exhibitions: the list, one with its dates and checklist, setting up, closing."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.base.pages import confirm, page_or_part
from survey.register.db.selectors import exhibitions as selectors
from survey.register.db.services import exhibitions as services
from survey.register.web.forms import AddEntryForm, ExhibitionForm


@require_GET
@permitted("register.read")
def exhibitions(request: SignedIn) -> HttpResponse:
    """What is prepared for, and what was."""
    today = timezone.localdate()
    context = {
        "open": selectors.exhibition_lines(closed=False, today=today),
        "closed": selectors.exhibition_lines(closed=True, today=today),
        "current": selectors.current_exhibition(today),
        "may_write": may(request.user, "exhibitions.write"),
    }
    return render(request, "survey/register/exhibitions.html", context)


@require_GET
@permitted("register.read")
def exhibition(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One exhibition: its dates, and what is on its checklist."""
    return exhibition_page(request, pk, AddEntryForm())


def exhibition_page(request: SignedIn, pk: uuid.UUID, form: AddEntryForm, *, status: int = 200) -> HttpResponse:
    """The page, with the form for one more object as it stands."""
    found = selectors.the_exhibition(pk)
    section, words = request.GET.get("section"), request.GET.get("find", "")[:200].replace("\0", "")
    page = selectors.checklist_page(found, section=section, words=words, after=request.GET.get("after"))
    context = {
        "exhibition": found,
        "page": page,
        "section": section,
        "words": words,
        "form": form,
        "may_write": may(request.user, "exhibitions.write") and found.closed_at is None,
    }
    if not request.htmx:
        sections = selectors.sections_of(found)
        context |= {
            "milestones": selectors.milestone_lines(found, today=timezone.localdate()),
            "sections": sections,
            "count": sum(number for _, number in sections),
            "uses": selectors.use_counts(found),
            "removed": selectors.removed_entries(found),
            "may_manage": may(request.user, "exhibitions.write"),
        }
    return page_or_part(request, "survey/register/exhibition.html", "rows", context, status=status)


@require_http_methods(["GET", "POST"])
@permitted("exhibitions.write")
def exhibition_new(request: SignedIn) -> HttpResponse:
    """Set up an exhibition."""
    form = ExhibitionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = services.create_exhibition(
                name=form.cleaned_data["name"],
                place_text=form.cleaned_data["place_text"],
                dates=form.dates,
                by=request.user,
                at=timezone.now(),
            )
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, f"{made.name} is set up. Now add its objects.")
            return redirect("register:exhibition", pk=made.pk)
    back = reverse("register:exhibitions")
    return _form(request, form, heading="Which exhibition do you prepare for?", action="Set up exhibition", back=back)


@require_http_methods(["GET", "POST"])
@permitted("exhibitions.write")
def exhibition_edit(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Change name, place and dates."""
    found = selectors.the_exhibition(pk)
    form = ExhibitionForm(
        request.POST or None, instance=selectors.the_exhibition(pk), initial=selectors.milestones_of(found)
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.change_exhibition(
                found,
                name=form.cleaned_data["name"],
                place_text=form.cleaned_data["place_text"],
                dates=form.dates,
                by=request.user,
                at=timezone.now(),
            )
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, "Saved.")
            return redirect("register:exhibition", pk=pk)
    heading, back = f"When does {found.name} need its objects?", reverse("register:exhibition", args=[pk])
    return _form(request, form, heading=heading, action="Save exhibition", back=back)


@require_http_methods(["GET", "POST"])
@permitted("exhibitions.write")
def exhibition_close(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask, then say that an exhibition is no longer prepared for."""
    found = selectors.the_exhibition(pk)
    if request.method == "POST":
        services.close_exhibition(found, by=request.user, at=timezone.now())
        messages.success(request, f"{found.name} is closed. Its checklist is kept.")
        return redirect("register:exhibition", pk=pk)
    return confirm(
        request,
        f"Close {found.name}?",
        consequences=[
            "Its objects no longer count as needed for an opening.",
            "Its checklist and dates stay as they are and cannot be changed.",
            "It can be opened again.",
        ],
        action="Close exhibition",
        back_href=reverse("register:exhibition", args=[pk]),
    )


@require_POST
@permitted("exhibitions.write")
def exhibition_reopen(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Prepare for a closed exhibition again."""
    found = services.reopen_exhibition(selectors.the_exhibition(pk), by=request.user, at=timezone.now())
    messages.success(request, f"{found.name} is open again.")
    return redirect("register:exhibition", pk=pk)


def _form(request: SignedIn, form: ExhibitionForm, *, heading: str, action: str, back: str) -> HttpResponse:
    context = {"form": form, "heading": heading, "action": action, "back": back}
    return render(request, "survey/register/form.html", context, status=422 if form.errors else 200)
