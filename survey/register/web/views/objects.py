"""The register list, and what is done to one object by hand."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.base.pages import page_or_part
from media.base.sheets import Sheet, as_csv, as_xlsx
from survey.register import labels
from survey.register.db.models import Object, Place
from survey.register.db.selectors import exhibitions as exhibition_selectors
from survey.register.db.selectors import objects as selectors
from survey.register.db.selectors import places as place_selectors
from survey.register.db.selectors.exports import EXPORTS, export_rows
from survey.register.db.services import objects as services
from survey.register.web.forms import MoveForm, ObjectForm, PlaceChoice, WithdrawForm

COUNTED = 10_000


@require_GET
@permitted("register.read")
def objects(request: SignedIn) -> HttpResponse:
    """The register with its search and filters."""
    if named := labels.read(request.GET.get("q", "")):
        return redirect(_named(named))
    wanted = _wanted(request)
    page = selectors.objects_list(wanted, after=request.GET.get("after"))
    context: dict[str, Any] = {"page": page, "wanted": wanted}
    if not request.htmx:
        context |= {
            "places": place_selectors.places_page(after=None, size=500).rows,
            "exhibitions": exhibition_selectors.open_exhibitions(),
            "may_write": may(request.user, "register.write"),
            "any": Object.objects.exists() if not page.rows else True,
            "query": request.GET.urlencode(),
            "count": selectors.count_up_to(wanted, COUNTED),
            "counted": COUNTED,
        }
    return page_or_part(request, "survey/register/objects.html", "rows", context)


def _named(key: uuid.UUID) -> str:
    """The page of what a label names: somebody held it before a reader at the desk. Raises ``NotThere``."""
    if Place.objects.filter(pk=key).exists():
        return reverse("register:place", args=[key])
    return story(selectors.the_object(key))


def _wanted(request: SignedIn) -> selectors.Wanted:
    get = request.GET
    place, exhibition = _key(get.get("place", "")), _key(get.get("on", ""))
    placed = get.get("placed", "")
    return selectors.Wanted(
        words=get.get("q", "")[:200].replace("\0", ""),
        place=place_selectors.the_place(place) if place else None,
        placed="yes" if placed == "yes" else "no" if placed == "no" else "",
        exhibition=exhibition_selectors.the_exhibition(exhibition) if exhibition else None,
        left=get.get("left", "") == "1",
    )


def _key(text: str) -> uuid.UUID | None:
    if not text:
        return None
    try:
        return uuid.UUID(text)
    except ValueError as error:
        raise FettleError("This address is not one of the register's: choose the filters again.") from error


@require_GET
@permitted("register.read")
def export(request: SignedIn, kind: str) -> StreamingHttpResponse:
    """The list as it is filtered, as a file."""
    rows = export_rows(_wanted(request))
    name = f"register-{timezone.localdate().isoformat()}.{kind}"
    return as_csv(EXPORTS, rows, name) if kind == "csv" else as_xlsx([Sheet("Register", EXPORTS, rows)], name)


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def object_new(request: SignedIn) -> HttpResponse:
    """Add one object."""
    form = ObjectForm(request.POST or None)
    form.fields["place"] = place_field()
    if request.method == "POST" and form.is_valid():
        try:
            place = form.cleaned_data.pop("place")
            made = services.add_object(form.cleaned_data, place=place, by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error("number", error.message)
        else:
            messages.success(request, f"{made.number} added to the register.")
            return redirect(story(made))
    return _object_form(request, form, heading="Which object do you add?", action="Add object")


def place_field() -> PlaceChoice:
    """Where a new object stands."""
    places = MoveForm.base_fields["place"].queryset  # type: ignore[attr-defined]  # a model choice field has one
    return PlaceChoice(places.all(), required=False, label="It stands at", empty_label="Its place is not known")


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def object_edit(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Change what the register says of an object."""
    thing = selectors.the_object(pk)
    form = ObjectForm(request.POST or None, instance=selectors.the_object(pk))
    if request.method == "POST" and form.is_valid():
        try:
            services.change_object(thing, form.cleaned_data, by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error("number", error.message)
        else:
            messages.success(request, "Saved.")
            return redirect(story(thing))
    heading = f"What does the register say of {thing.number}?"
    return _object_form(request, form, heading=heading, action="Save object", thing=thing)


def _object_form(
    request: SignedIn, form: ObjectForm, *, heading: str, action: str, thing: Object | None = None
) -> HttpResponse:
    back = story(thing) if thing else reverse("register:objects")
    context = {"form": form, "heading": heading, "action": action, "thing": thing, "back": back}
    return render(request, "survey/register/object_form.html", context, status=422 if form.errors else 200)


def story(thing: Object) -> str:
    """The address of an object's own page; its moves where no such page is installed."""
    try:
        return reverse("overview:object", args=[thing.pk])
    except NoReverseMatch:
        return reverse("register:object_move", args=[thing.pk])


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def object_move(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Where an object has stood, and where it goes."""
    thing = selectors.the_object(pk)
    form = MoveForm(request.POST or None, initial={"place": thing.place_id})
    if request.method == "POST" and form.is_valid():
        move = services.move_object(
            thing, form.cleaned_data["place"], reason=form.cleaned_data["reason"], by=request.user, at=timezone.now()
        )
        words = f"{thing.number} moved." if move else f"{thing.number} stands there already; nothing was changed."
        messages.success(request, words)
        return redirect("register:object_move", pk=pk)
    context = {"thing": thing, "form": form, "moves": selectors.moves_of(thing), "story": story(thing)}
    return render(request, "survey/register/object_move.html", context, status=422 if form.errors else 200)


@require_POST
@permitted("register.write")
def object_move_undo(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Put an object back where its last move took it from."""
    thing = selectors.the_object(pk)
    move = services.undo_last_move(thing, by=request.user, at=timezone.now())
    where = move.to_place.full_name if move.to_place else "its place is not known"
    messages.success(request, f"{thing.number} put back: {where}.")
    return redirect("register:object_move", pk=pk)


@require_http_methods(["GET", "POST"])
@permitted("register.write")
def object_withdraw(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask why, then take an object out of the register."""
    thing = selectors.the_object(pk)
    form = WithdrawForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.withdraw_object(thing, **form.cleaned_data, by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, f"{thing.number} has left the register. Its record is kept.")
            return redirect(story(thing))
    context = {"form": form, "thing": thing, "story": story(thing), "wanting": selectors.open_checklists_of(thing)}
    return render(request, "survey/register/object_withdraw.html", context, status=422 if form.errors else 200)


@require_POST
@permitted("register.write")
def object_take_back(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Put a withdrawn object back into the register."""
    thing = selectors.the_object(pk)
    services.take_back_object(thing, by=request.user, at=timezone.now())
    messages.success(request, f"{thing.number} is in the register again.")
    return redirect(story(thing))
