"""Places: the tree, one place with its shelves, and all that changes the tree."""

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
from survey.register.db.models import Place, PlaceKind
from survey.register.db.selectors import places as selectors
from survey.register.db.selectors.placing import unplaced
from survey.register.db.services import places as services
from survey.register.web.forms import PlaceForm, PlaceMoveForm, kind_below


@require_GET
@permitted("register.read")
def places(request: SignedIn) -> HttpResponse:
    """All places down to the bays."""
    page = selectors.places_page(after=request.GET.get("after"))
    context: dict[str, Any] = {"page": page, "may_write": may(request.user, "register.write")}
    if not request.htmx:
        context["unplaced"] = unplaced()
    return page_or_part(request, "survey/register/places.html", "rows", context)


@require_GET
@permitted("register.read")
def place(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One place: what is inside, its shelves, its objects."""
    found = selectors.the_place(pk)
    context = {"place": found, "page": selectors.objects_page(found, after=request.GET.get("after"))}
    if not request.htmx:
        shelves = selectors.shelves_of(found) if found.kind == PlaceKind.BAY else []
        context |= {
            "above": selectors.ancestors(found),
            "children": selectors.child_lines(found),
            "shelves": shelves,
            "add_href": f"{reverse('register:place_new')}?inside={found.pk}",
            "count": selectors.objects_within(found).count(),
            "may_write": may(request.user, "register.write"),
            "unplaced": None if found.parent_id else unplaced(),
        }
    return page_or_part(request, "survey/register/place.html", "rows", context)


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def place_new(request: SignedIn) -> HttpResponse:
    """Add a place, inside another if the address says so."""
    parent = _parent(request)
    form = PlaceForm(request.POST or None, initial={"kind": kind_below(parent)})
    if request.method == "POST" and form.is_valid():
        try:
            made = services.add_place(**form.cleaned_data, parent=parent, by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, f"{made.name} added.")
            return redirect("register:place", pk=parent.pk if parent else made.pk)
    heading = f"What stands in {parent.full_name}?" if parent else "Which place do you add?"
    back = reverse("register:place", args=[parent.pk]) if parent else reverse("register:places")
    return _form(request, form, heading=heading, action="Add place", back=back)


def _parent(request: SignedIn) -> Place | None:
    wanted = request.GET.get("inside", "")
    if not wanted:
        return None
    try:
        return selectors.the_place(uuid.UUID(wanted))
    except ValueError as error:
        raise FettleError("This address does not name a place: start again from the places.") from error


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def place_edit(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Rename a place or change its kind or climate."""
    found = selectors.the_place(pk)
    form = PlaceForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        try:
            services.edit_place(found, **form.cleaned_data, by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, "Changed.")
            return redirect("register:place", pk=pk)
    heading = f"What is {selectors.the_place(pk).name}?"
    return _form(request, form, heading=heading, action="Save place", back=reverse("register:place", args=[pk]))


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def place_move(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Put a place with all it holds inside another."""
    found = selectors.the_place(pk)
    form = PlaceMoveForm(found, request.POST or None, initial={"parent": found.parent_id})
    if request.method == "POST" and form.is_valid():
        try:
            moved = services.move_place(found, parent=form.cleaned_data["parent"], by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, f"Now: {moved.full_name}.")
            return redirect("register:place", pk=pk)
    heading = f"Where does {found.name} stand?"
    return _form(request, form, heading=heading, action="Move place", back=reverse("register:place", args=[pk]))


@require_POST
@permitted("register.write")
def place_shift(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One step earlier or later along the walk."""
    found = selectors.the_place(pk)
    step = {"earlier": -1, "later": 1}.get(request.POST.get("way", ""))
    if step is None:
        raise FettleError("Say whether the place comes earlier or later.")
    services.put_at(found, selectors.position_of(found) + step, by=request.user, at=timezone.now())
    back = reverse("register:place", args=[found.parent_id]) if found.parent_id else reverse("register:places")
    return redirect(f"{back}#p-{found.pk}")


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def place_delete(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask, then remove an empty place."""
    found = selectors.the_place(pk)
    parent = found.parent
    back = reverse("register:place", args=[pk])
    if request.method == "POST":
        services.delete_place(found, by=request.user, at=timezone.now())
        messages.success(request, f"{found.full_name} removed.")
        return redirect("register:place", pk=parent.pk) if parent else redirect("register:places")
    if why := services.why_not_delete(found):
        messages.error(request, why)
        return redirect(back)
    return confirm(
        request,
        f"Remove {found.full_name}?",
        consequences=["It is empty, and no record speaks of it.", "It leaves the walk; the others close up."],
        action="Remove place",
        back_href=back,
        danger=True,
    )


def _form(request: SignedIn, form: object, *, heading: str, action: str, back: str) -> HttpResponse:
    context = {"form": form, "heading": heading, "action": action, "back": back}
    status = 422 if getattr(form, "errors", None) else 200
    return render(request, "survey/register/form.html", context, status=status)
