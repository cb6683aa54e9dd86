"""One object on the surveyor's desk: who looks at it, on which shelf, in which round, and what is open of it."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, wraps
from typing import Any
from urllib.parse import urlencode

from django.core import signing
from django.http import HttpRequest, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from media.base.access import SignedIn
from media.base.models import User
from survey.condition.db import services
from survey.condition.db.models import Assessment, SurveyRound
from survey.condition.db.selectors import walking
from survey.condition.db.selectors.assessments import (
    RestorationSeen,
    ThingSeen,
    open_assessment,
    restorations_seen,
)
from survey.condition.db.services.beginning import LONGEST_LOOK
from survey.register.db.models import Object, Place, PlaceKind
from survey.register.db.selectors.objects import the_object
from survey.register.db.selectors.places import the_place

STEPS = ("look", "parts", "grades", "handling", "photographs", "notes", "check")
CHOSEN_ROUND = "survey_round"
LOOKED_FROM = "fettle.looked-from"


def current_round(request: SignedIn) -> SurveyRound | None:
    """The open round that the person chose, else the latest begun; none if no round is open."""
    rounds = walking.open_rounds()
    chosen = request.session.get(CHOSEN_ROUND)
    return next((each for each in rounds if str(each.pk) == chosen), rounds[0] if rounds else None)


def shelf_of(place: Place | None) -> Place | None:
    """Where a surveyor finds an object: the shelf, also when it stands in a tray of that shelf."""
    return place.parent if place and place.kind == PlaceKind.TRAY and place.parent else place


@dataclass
class Desk:
    """Built once for each request in an assessment."""

    request: SignedIn
    object: Object
    shelf: Place | None
    round: SurveyRound | None
    assessment: Assessment | None

    @classmethod
    def of(cls, request: SignedIn, pk: uuid.UUID) -> Desk:
        """Raises ``NotThere`` for an object or a shelf that does not exist."""
        thing = the_object(pk)
        at = request.POST.get("at") or request.GET.get("at")
        key = _key(at) if at else None
        shelf = the_place(key) if key else shelf_of(thing.place)
        return cls(request, thing, shelf, current_round(request), open_assessment(pk, request.user))

    @property
    def by(self) -> User:
        return self.request.user

    @cached_property
    def at(self) -> datetime:
        return timezone.now()

    def begun(self) -> Assessment:
        """The open assessment, begun now if there is none."""
        if self.assessment is None:
            self.assessment = services.begin_assessment(
                self.object, self.round, by=self.by, at=self.at, looked_from=_looked_from(self.request)
            )
        return self.assessment

    @cached_property
    def restorations(self) -> list[RestorationSeen]:
        return restorations_seen(self.assessment) if self.assessment else []

    def part(self, pk: str | None) -> ThingSeen | None:
        """A joint, fill or area of paint by its id; none if it is not on this object."""
        things = (thing for each in self.restorations for thing in each.things)
        return next((thing for thing in things if str(thing.thing.pk) == pk), None)

    @cached_property
    def neighbours(self) -> walking.Neighbours:
        if self.shelf is None:
            return walking.Neighbours(0, 0, None, None, None)
        rows = list(walking.on_shelf(self.shelf).values_list("pk", "number", "simple_name"))
        return walking.neighbours(walking.marks(rows, self.round, self.by), self.object.pk)

    def address(self, step: str = "", **query: Any) -> str:
        """This object's page at a step, on the shelf that is being walked."""
        if self.shelf and self.shelf != shelf_of(self.object.place):
            query["at"] = self.shelf.pk
        query = {name: value for name, value in {"step": step, **query}.items() if value}
        base = reverse("condition:assess", kwargs={"pk": self.object.pk})
        return f"{base}?{urlencode(query)}" if query else base

    def back(self, step: str = "", **query: Any) -> HttpResponseRedirect:
        """After a touch: the same page at the step that comes next."""
        return HttpResponseRedirect(self.address(step, **query))


def looked_from_mark(at: datetime) -> str:
    """When a page was opened, so that the first answer can say how long the look took."""
    return signing.dumps(at.isoformat(), salt=LOOKED_FROM)


def _looked_from(request: SignedIn) -> datetime | None:
    try:
        return datetime.fromisoformat(
            signing.loads(request.POST.get("looked_from", ""), salt=LOOKED_FROM, max_age=LONGEST_LOOK)
        )
    except (signing.BadSignature, ValueError, TypeError):
        return None


def _key(text: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


def touch(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A view that only writes. Asked for by a link (after signing in again, or by going back) it shows the object."""

    @require_http_methods(["GET", "POST"])
    @wraps(view)
    def touched(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if request.method == "GET":
            return redirect("condition:assess", pk=kwargs["pk"])
        return view(request, *args, **kwargs)

    return touched
