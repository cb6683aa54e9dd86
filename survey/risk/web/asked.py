"""What an address asks of the ranking; anything else in it is refused in one line."""

from __future__ import annotations

import uuid
from typing import Any, cast, get_args

from django.http import QueryDict

from media.base.errors import FettleError, NotThere
from survey.condition.db.models import Workshop
from survey.register.db.models import Place
from survey.register.db.selectors import the_place
from survey.register.db.selectors.exhibitions import sections_of
from survey.register.db.selectors.places import ABOVE_SHELVES
from survey.risk.db.models import Band, RiskRun
from survey.risk.db.selectors.ranking import Order, Wanted

UNNAMED = "(none)"  # the section of entries that stand in no section
KEYS = ("q", "on", "section", "place", "band", "workshop", "order")
PLACES = 500


class NotAsked(FettleError):
    """An address that the ranking does not know."""

    def __init__(self, what: str) -> None:
        super().__init__(f"The ranking knows no such {what}. Choose the filters again from the list.")


def wanted(get: QueryDict) -> Wanted:
    """The filters of an address. Raises ``FettleError`` in one line for what it cannot mean."""
    order, band, section = get.get("order", ""), get.get("band", ""), get.get("section", "")
    if order and order not in get_args(Order):
        raise NotAsked("order")
    if band and band not in Band.values:
        raise NotAsked("band")
    if get.get("on", "") not in {"", "checklist", "all"}:
        raise NotAsked("checklist filter")
    return Wanted(
        order=cast(Order, order or "with"),
        listed=get.get("on") == "checklist",
        section="" if section == UNNAMED else _text(section, 120) or None,
        place=place(get),
        band=band,
        workshop=workshop(get),
        words=_text(get.get("q", ""), 200),
    )


def place(get: QueryDict) -> Place | None:
    """The place whose whole inside is asked for."""
    key = _key(get, "place")
    return the_place(key) if key else None


def workshop(get: QueryDict) -> Workshop | None:
    """The former workshop whose work is asked for."""
    key = _key(get, "workshop")
    if key is None:
        return None
    found = Workshop.objects.filter(pk=key).first()
    if found is None:
        raise NotThere("This workshop is not on record any more. Choose the filters again from the list.")
    return found


def _key(get: QueryDict, name: str) -> uuid.UUID | None:
    text = get.get(name, "")
    try:
        return uuid.UUID(text) if text else None
    except ValueError as error:
        raise NotAsked(name) from error


def _text(text: str, most: int) -> str:
    return text.replace("\0", "")[:most].strip()


def query(get: QueryDict) -> str:
    """The filters alone as a query string, for the same choice on another page or in a file."""
    kept = QueryDict(mutable=True)
    for key in KEYS:
        if get.get(key):
            kept[key] = str(get[key])
    return kept.urlencode()


def taken_off(get: QueryDict, wanted: Wanted) -> list[tuple[str, str]]:
    """Each filter that is on, in words, with the query string of the same list without it."""
    words = {
        "q": f"“{wanted.words}”" if wanted.words else "",
        "on": "on the checklist" if wanted.listed else "",
        "section": "" if wanted.section is None else wanted.section or "in no section",
        "place": wanted.place.full_name if wanted.place else "",
        "workshop": f"restored by {wanted.workshop}" if wanted.workshop else "",
        "band": wanted.band_words,
    }
    found = []
    for key, said in words.items():
        if said:
            rest = QueryDict(query(get), mutable=True)
            rest.pop(key, None)
            found.append((said, rest.urlencode()))
    return found


def places() -> dict[str, Any]:
    """Places to choose from, down to the bays. One query."""
    return {"places": list(Place.objects.filter(kind__in=ABOVE_SHELVES).order_by("path")[:PLACES])}


def workshops() -> dict[str, Any]:
    """Former workshops to choose from. One query."""
    return {"workshops": list(Workshop.objects.order_by("name"))}


def choices(run: RiskRun, get: QueryDict, wanted: Wanted) -> dict[str, Any]:
    """What the filter form offers, and what is chosen. Three queries."""
    return {
        "query": query(get),
        "taken_off": taken_off(get, wanted),
        "sections": sections_of(run.exhibition) if run.exhibition else [],
        **places(),
        **workshops(),
        "unnamed": UNNAMED,
        "band_choices": Band.choices,
    }
