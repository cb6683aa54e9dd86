"""The ranking, and the reasons of one object."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpResponse, QueryDict
from django.views.decorators.http import require_GET

from media.base.access import SignedIn, may, permitted
from media.base.errors import NotThere
from media.base.pages import page_or_part
from survey.register.db.selectors import current_exhibition
from survey.risk.adhesives import ADHESIVES
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors import latest_run, ranking_page, story
from survey.risk.db.selectors.summary import answer, bands, freshness, known_at, scoring_job
from survey.risk.stages import PRIORS
from survey.risk.web import asked
from survey.risk.web.views.asking import choices


@require_GET
@permitted("ranking.read")
def ranking(request: SignedIn) -> HttpResponse:
    """Which objects first, and why."""
    wanted, run = asked.wanted(request.GET), latest_run()
    context: dict[str, Any] = {"run": run, "wanted": wanted, "here": "ranking"}
    if run:
        context["page"] = ranking_page(run, wanted, after=request.GET.get("after"))
    if not request.htmx:
        context |= {**running(request, run), **working()}
        if run:
            lines = bands(run, wanted)
            count = sum(line.count for line in lines if wanted.band in ("", line.band))
            context |= asked.choices(run, request.GET, wanted)
            context |= {"answer": answer(run), "bands": lines, "count": count}
    return page_or_part(request, "survey/risk/ranking.html", "rows", context)


@require_GET
@permitted("ranking.read")
def reasons(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Why one object stands where it does: inside its row, or on a page of its own."""
    run = latest_run()
    if run is None:
        raise NotThere("Nothing is scored yet. Score the joints on the ranking page first.")
    context = {"run": run, "story": story(run, pk), "here": "ranking", **working(), **choices(QueryDict())}
    return page_or_part(request, "survey/risk/reasons.html", "inside", context)


def running(request: SignedIn, run: RiskRun | None) -> dict[str, Any]:
    """Whether scores are old, whether a scoring goes on, and whether this person may start one."""
    return {
        "may_run": may(request.user, "ranking.run"),
        "job": scoring_job(),
        "fresh": freshness(run, current_exhibition()) if run else None,
        "known_at": known_at(run) if run else None,
    }


def working() -> dict[str, Any]:
    """What the folded words on how scores are worked out quote from the model itself."""
    return {"priors": list(PRIORS.values()), "adhesives": ADHESIVES}
