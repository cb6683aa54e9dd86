"""The checklist of an exhibition: one object at a time, or a curator's list."""

from __future__ import annotations

import uuid
from collections import Counter

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from media.base.access import SignedIn, permitted
from media.base.errors import FettleError
from survey.register.db.selectors import exhibitions as selectors
from survey.register.db.services import checklists as services
from survey.register.web.forms import AddEntryForm, EntryForm, ListForm
from survey.register.web.views.exhibitions import exhibition_page

DID = {
    "new": "come onto the checklist",
    "back": "come back onto the checklist",
    "changed": "are on it and change",
    "same": "are on it already",
    "unmatched": "match no object",
    "refused": "cannot be taken",
}


@require_POST
@permitted("exhibitions.write")
def entry_add(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Put one object on the checklist by its number."""
    found = selectors.the_exhibition(pk)
    form = AddEntryForm(request.POST)
    if form.is_valid():
        said = {name: form.cleaned_data[name] for name in services.SAID}
        try:
            entry = services.add_entry(
                found, form.cleaned_data["number"], said=said, by=request.user, at=timezone.now()
            )
        except FettleError as error:
            form.add_error("number", error.message)
        else:
            messages.success(request, f"{entry.object.number} is on the checklist.")
            return redirect("register:exhibition", pk=pk)
    return exhibition_page(request, pk, form, status=422)


@require_http_methods(["GET", "POST"])
@permitted("exhibitions.write")
def entry_edit(request: SignedIn, pk: int) -> HttpResponse:
    """Change what is meant with an object."""
    entry = selectors.the_entry(pk)
    form = EntryForm(request.POST or None, instance=selectors.the_entry(pk))
    if request.method == "POST" and form.is_valid():
        said = {name: form.cleaned_data[name] for name in services.SAID}
        try:
            services.edit_entry(entry, said, by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, f"{entry.object.number}: saved.")
            return redirect("register:exhibition", pk=entry.exhibition_id)
    context = {
        "form": form,
        "heading": f"What is meant with {entry.object.number}?",
        "action": "Save entry",
        "back": reverse("register:exhibition", args=[entry.exhibition_id]),
    }
    return render(request, "survey/register/form.html", context, status=422 if form.errors else 200)


@require_POST
@permitted("exhibitions.write")
def entry_remove(request: SignedIn, pk: int) -> HttpResponse:
    """Take an object off; the page offers to put it back."""
    entry = services.remove_entry(selectors.the_entry(pk), by=request.user, at=timezone.now())
    messages.success(request, f"{entry.object.number} taken off. Put it back under “Taken off”, below the list.")
    return redirect("register:exhibition", pk=entry.exhibition_id)


@require_POST
@permitted("exhibitions.write")
def entry_restore(request: SignedIn, pk: int) -> HttpResponse:
    """Put an object back as it stood."""
    entry = services.restore_entry(selectors.the_entry(pk), by=request.user, at=timezone.now())
    messages.success(request, f"{entry.object.number} is on the checklist again.")
    return redirect("register:exhibition", pk=entry.exhibition_id)


@require_http_methods(["GET", "POST"])
@permitted("exhibitions.write")
def list_import(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """A curator's list: first what it would do, then, confirmed, done."""
    found = selectors.the_exhibition(pk)
    form = ListForm(request.POST, request.FILES) if request.method == "POST" else ListForm()
    context = {"exhibition": found, "form": form}
    if request.method != "POST":
        return render(request, "survey/register/checklist_import.html", context)
    if form.is_valid():
        text = form.cleaned_data["text"]
        try:
            if request.POST.get("confirmed") == "yes":
                counts = services.apply_list(found, text, by=request.user, at=timezone.now())
                taken = counts["new"] + counts["back"]
                messages.success(request, f"{taken} put on the checklist, {counts['changed']} changed.")
                return redirect("register:exhibition", pk=pk)
            planned = services.plan_list(found, text)
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            counts = Counter(each.did for each in planned)
            lines = [(did, words, counts[did]) for did, words in DID.items() if counts[did]]
            doing = counts["new"] + counts["back"] + counts["changed"]
            context |= {"planned": planned, "lines": lines, "text": text, "doing": doing}
            return render(request, "survey/register/checklist_preview.html", context)
    return render(request, "survey/register/checklist_import.html", context, status=422)
