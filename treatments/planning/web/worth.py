"""What another hour at the bench is worth."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_GET

from media.base.access import SignedIn, permitted
from media.base.pages import page_or_part
from survey.register.db.selectors import current_exhibition
from treatments.planning.db.selectors.worth import shown_worth


@require_GET
@permitted("treatments.read")
def worth(request: SignedIn) -> HttpResponse:
    """Benefit against hours as a page, or as the picture alone for the list of treatments."""
    shown = shown_worth(current_exhibition(timezone.localdate()), timezone.now())
    return page_or_part(request, "treatments/planning/worth.html", "picture", {"shown": shown})
