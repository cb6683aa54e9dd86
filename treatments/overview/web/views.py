"""The first page, an object's story, and the settings."""

from __future__ import annotations

import uuid

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from media.base.access import SignedIn, may, permitted
from treatments.overview.db import selectors


@require_GET
@permitted("overview.read")
def today(request: SignedIn) -> HttpResponse:
    day = timezone.localdate()
    shown = selectors.today(request.user, day)
    first, beside = (
        [f"treatments/overview/today/{name}.html" for name in names] for names in (shown.first, shown.beside)
    )
    return render(request, "treatments/overview/today.html", {"today": shown, "first": first, "beside": beside})


@require_GET
@permitted("overview.read")
def object_(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    story = selectors.object_story(pk, timezone.localdate())
    rights = {"survey": may(request.user, "survey.write"), "edit": may(request.user, "register.write")}
    return render(request, "treatments/overview/object.html", {"story": story, "object": story.object, "may": rights})


@require_GET
@permitted("overview.read")
def week(request: SignedIn) -> HttpResponse:
    """The week on one page, on screen and on paper."""
    return render(request, "treatments/overview/sheet.html", {"sheet": selectors.weekly_sheet(timezone.localdate())})


@require_GET
@permitted("settings.read")
def settings(request: SignedIn) -> HttpResponse:
    context = {"assumed": selectors.settings_shown(), "may_people": may(request.user, "people.write")}
    return render(request, "treatments/overview/settings.html", context)
