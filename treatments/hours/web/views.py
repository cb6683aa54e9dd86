"""How far to treat each object, and how many hours that takes."""

from __future__ import annotations

import csv
import hashlib
import uuid
from collections.abc import Mapping
from http import HTTPStatus

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import Clash, FettleError
from media.base.pages import confirm, page_or_part
from survey.register.db.models import Exhibition
from survey.register.db.selectors import current_exhibition
from treatments.hours.db import selectors
from treatments.hours.web.forms import ChoiceForm, TakeBackForm
from treatments.options.db import services as options
from treatments.options.db.selectors import table_in_use
from treatments.options.suggesting import Suggestion

NOTHING_TO_CHOOSE = "There is no exhibition to choose a level for. Add one with its checklist first."


@require_GET
@permitted("treatments.read")
def treatments(request: SignedIn) -> HttpResponse:
    """The checklist with the level that counts for each object."""
    asked = request.GET
    page = selectors.treatments_page(
        after=asked.get("after"), level=asked.get("level", ""), order=asked.get("order", "section")
    )
    context = {
        "page": page,
        "orders": [(name, words) for name, (words, _) in selectors.ORDERS.items()],
        "may_choose": may(request.user, "treatments.write"),
    }
    return page_or_part(request, "treatments/hours/treatments.html", "rows", context)


@require_GET
@permitted("treatments.read")
def export(request: SignedIn) -> HttpResponse:
    """The list as it is filtered and ordered, as CSV; UTF-8 with a mark, so that spreadsheet programs read accents."""
    rows = selectors.export_rows(
        _exhibition(), level=request.GET.get("level", ""), order=request.GET.get("order", "section")
    )
    name = f"treatments-{timezone.localdate().isoformat()}.csv"
    response = HttpResponse(
        "\ufeff", content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )  # fmt: skip
    csv.writer(response).writerows([selectors.COLUMNS, *rows])
    return response


def _exhibition() -> Exhibition:
    found = current_exhibition(timezone.localdate())
    if found is None:
        raise FettleError(NOTHING_TO_CHOOSE)
    return found


@require_http_methods(["GET", "POST"])
@permitted("treatments.write")
def accept(request: SignedIn) -> HttpResponse:
    """Choose for every undecided object what is suggested, after asking; one touch takes it all back."""
    exhibition, level = _exhibition(), request.GET.get("level", "")
    suggested, asks = selectors.open_suggestions(exhibition, level=level)
    if not suggested:
        raise Clash("No suggestion is open, so there is nothing to accept.")
    if request.method == "POST":
        if request.POST.get("seen") != _digest(suggested):
            raise Clash("The suggestions changed since you saw them, so nothing was chosen. Look through them again.")
        count = options.accept_suggestions(exhibition, suggested, by=request.user, at=timezone.now())
        messages.success(request, f"{_levels(count)} chosen as suggested. You can take them all back below.")
        return redirect("hours:treatments")
    return _ask_to_accept(request, suggested, asks)


def _ask_to_accept(request: SignedIn, suggested: Mapping[uuid.UUID, Suggestion], asks: int) -> HttpResponse:
    chosen = [suggestion.level for suggestion in suggested.values()]
    named = [(level.name, chosen.count(level.code)) for level in table_in_use().levels]
    lines = [f"{name}: {count}" for name, count in named if count]
    if asks:
        lines.append(f"{asks} with a restriction {'is' if asks == 1 else 'are'} left out: they need your own word.")
    lines.append("Each goes into its object's record under your name. You can take them all back at once.")
    count = len(suggested)
    return confirm(
        request,
        f"Choose what is suggested for {count} object{'' if count == 1 else 's'}?",
        consequences=lines,
        action="Accept the suggestions",
        back_href="../",
        fields={"seen": _digest(suggested)},
    )


def _digest(suggested: Mapping[uuid.UUID, Suggestion]) -> str:
    """Fingerprint of what a person was shown."""
    text = ";".join(sorted(f"{pk}:{suggestion.level}" for pk, suggestion in suggested.items()))
    return hashlib.sha256(text.encode()).hexdigest()


def _levels(count: int) -> str:
    return f"{count} level{'' if count == 1 else 's'}"


@require_POST
@permitted("treatments.write")
def take_back_accepted(request: SignedIn) -> HttpResponse:
    form = TakeBackForm(request.POST)
    if not form.is_valid():
        raise FettleError("Nothing was taken back: start again from the list of treatments.")
    count = options.withdraw_accepted(
        _exhibition(), form.cleaned_data["at"], by=request.user, at=timezone.now()
    )  # fmt: skip
    messages.success(request, f"{_levels(count)} taken back: the suggestions count again.")
    return redirect("hours:treatments")


@require_GET
@permitted("treatments.read")
def object_(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """All levels for one object side by side."""
    return _object_page(request, pk)


def _object_page(
    request: SignedIn, pk: uuid.UUID, *, refused: str = "", tried: ChoiceForm | None = None
) -> HttpResponse:
    shown = selectors.object_levels(pk)
    context = {
        "shown": shown,
        "object": shown.object,
        "may_choose": may(request.user, "treatments.write"),
        "refused": refused,
        "tried": tried,
    }
    status = HTTPStatus.UNPROCESSABLE_ENTITY if refused else HTTPStatus.OK
    return render(request, "treatments/hours/object.html", context, status=status)


@require_POST
@permitted("treatments.write")
def choose(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Choose a level; what is refused is said above the levels, with what was typed still there."""
    form, shown, exhibition = ChoiceForm(request.POST), selectors.object_levels(pk), _exhibition()
    if not form.is_valid():
        return _object_page(request, pk, refused=form.complaint, tried=form)
    said = form.cleaned_data
    try:
        options.choose_level(
            exhibition, shown.object, said["level"], why=said["why"], look_again_on=said["look_again_on"],
            by=request.user, at=timezone.now(),
        )  # fmt: skip
    except FettleError as error:
        return _object_page(request, pk, refused=error.message, tried=form)
    messages.success(request, f"Chosen for {shown.object.number}. Make a new forecast to see what it changes.")
    return redirect("hours:object", pk=pk)


@require_POST
@permitted("treatments.write")
def take_back(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    shown = selectors.object_levels(pk)
    options.withdraw_level(_exhibition(), shown.object, by=request.user, at=timezone.now())
    messages.success(request, f"The choice for {shown.object.number} was taken back.")
    return redirect("hours:object", pk=pk)
