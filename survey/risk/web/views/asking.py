"""What if it were treated, its adhesive proved, or it did not travel?"""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_GET

from media.base.access import SignedIn, permitted
from media.base.errors import FettleError, NotThere
from survey.register.db.models import Use
from survey.risk.adhesives import NAMES
from survey.risk.db.selectors import latest_run
from survey.risk.db.selectors.asking import STAYS, what_if

ADHESIVES = [("", "As far as known"), *((code, name[0].upper() + name[1:]) for code, name in NAMES.items())]
TREATED = [("", "Left as it is"), ("worst", "The joint most likely to fail"), ("all", "All its joints")]
USES = [("", "As planned"), *Use.choices, (STAYS, "Not moved at all")]
FIELDS = {"adhesive": ADHESIVES, "treated": TREATED, "use": USES}


def choices(get: QueryDict) -> dict[str, Any]:
    """What the form offers, and what is chosen. Raises ``FettleError`` for a choice that it does not offer."""
    chosen = {name: get.get(name, "") for name in FIELDS}
    for name, value in chosen.items():
        if value not in dict(FIELDS[name]):
            raise FettleError("This cannot be asked. Choose again from the form.")
    return {"chosen": chosen, **{f"{name}_choices": offered for name, offered in FIELDS.items()}}


@require_GET
@permitted("ranking.read")
def asking(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """The answer of the form on an object's page; a page of its own where the browser runs no script."""
    run = latest_run()
    if run is None:
        raise NotThere("Nothing is scored yet. Score the joints on the ranking page first.")
    offered = choices(request.GET)
    found = what_if(run, pk, **offered["chosen"])
    context = {"run": run, "pk": pk, "found": found, **offered}
    return render(request, "survey/risk/_what_if.html" if _part(request) else "survey/risk/what_if.html", context)


def _part(request: HttpRequest) -> bool:
    return bool(getattr(request, "htmx", False))
