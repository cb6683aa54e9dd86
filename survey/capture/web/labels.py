"""Labels to print, and what a label leads to."""

from __future__ import annotations

import uuid
from typing import Any, Literal
from urllib.parse import urlencode

import segno
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from media.base.access import SignedIn, permitted
from media.base.errors import FettleError
from survey.capture.db.selectors import labelling
from survey.capture.db.selectors.labelling import Asked
from survey.register.db.selectors.exhibitions import the_exhibition
from survey.register.db.selectors.places import the_place
from survey.register.label_sheets import draw
from survey.register.labels import PAPERS, SIZES, Label, Sheet, said_by

SHOWN = 4
SECONDS_EACH = 0.015  # to draw one label
CALLED = {"small": "Small", "middle": "Middle", "large": "Large"}


@require_GET
@permitted("survey.read")
def labels(request: SignedIn) -> HttpResponse:
    """Choose what to label, look at the first, and take the sheets."""
    asked, sheet = _asked(request), _sheet(request)
    count = labelling.count(asked) if asked.said else 0
    shown = labelling.labels(asked, most=SHOWN) if count else []
    context: dict[str, Any] = {
        "asked": asked,
        "sheet": sheet,
        "count": count,
        "sheets": -(-count // sheet.each),
        "shown": [{"label": label, "square": _square(label)} for label in shown],
        "files": _files(asked, sheet, count),
        "seconds": round(min(count, labelling.MOST) * SECONDS_EACH),
        "places": labelling.places_to_choose(asked.place),
        "lists": labelling.lists_to_choose(),
        "papers": PAPERS,
        "sizes": [(code, CALLED[code], *millimetres) for code, millimetres in SIZES.items()],
    }
    return render(request, "survey/capture/labels.html", context)


@require_GET
@permitted("survey.read")
def sheets(request: SignedIn) -> HttpResponse:
    """The sheets as PDF."""
    asked, sheet = _asked(request), _sheet(request)
    first = request.GET.get("from", "0")
    if not asked.said or not (first.isascii() and first.isdecimal() and len(first) < 8):
        raise FettleError("Choose a place or a checklist first, then take its labels.")
    found = labelling.labels(asked, first=int(first))
    if not found:
        raise FettleError("There is nothing to label there. Choose another place or list.")
    made = timezone.localtime()
    answer = HttpResponse(draw(found, sheet, labelling.fonts(), made=made), content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="labels-{asked.what}-{made:%Y-%m-%d}-{int(first) + 1}.pdf"'
    answer["Cache-Control"] = "no-store"
    return answer


def _square(label: Label) -> str:
    """A label's square as a drawing for the page."""
    drawn: str = segno.make(said_by(label.id), error="m", micro=False).svg_inline(border=4, omitsize=True, unit="")
    return drawn


def _asked(request: SignedIn) -> Asked:
    get = request.GET
    what: Literal["objects", "shelves"] = "shelves" if get.get("what") == "shelves" else "objects"
    place, listed = get.get("place", ""), get.get("list", "")
    if what == "shelves" or place:
        return Asked(what, place=the_place(_key(place)) if place else None)
    exhibition, _, section = listed.partition(":")
    if not exhibition:
        return Asked(what)
    named = section[1:] if section.startswith("=") else None
    return Asked(what, exhibition=the_exhibition(_key(exhibition)), section=named and named.replace("\0", ""))


def _key(text: str) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except ValueError as error:
        raise FettleError("This address does not name a place or a list: choose it again.") from error


def _sheet(request: SignedIn) -> Sheet:
    try:
        return Sheet(request.GET.get("paper", "A4"), request.GET.get("size", "middle"))
    except ValueError as error:
        raise FettleError("Choose the paper and the size of the labels from the list.") from error


def _files(asked: Asked, sheet: Sheet, count: int) -> list[dict[str, Any]]:
    """One file for all, or several of whole sheets."""
    most = max(sheet.each, labelling.MOST // sheet.each * sheet.each)
    listed = f"{asked.exhibition.pk}" if asked.exhibition else ""
    if asked.section is not None:
        listed += f":={asked.section}"
    query = {"what": asked.what, "place": asked.place.pk if asked.place else "", "list": listed}
    query |= {"paper": sheet.paper, "size": sheet.size}
    return [
        {"query": urlencode({**query, "from": first}), "first": first + 1, "last": min(count, first + most)}
        for first in range(0, count, most)
    ]
