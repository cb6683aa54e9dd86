"""The ranking for walking along shelves, for files, and by workshop."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from media.base.access import SignedIn, permitted
from media.base.errors import FettleError, NotThere
from media.base.pages import page_or_part
from media.base.sheets import Sheet, as_csv, as_readme, as_xlsx
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors import ageing_nitrate, latest_run, must_not_be_lifted
from survey.risk.db.selectors import shelf_list as list_by_shelf
from survey.risk.db.selectors.exports import HEADINGS, dictionary, export_rows
from survey.risk.db.selectors.nitrate import HEADINGS as NITRATE_HEADINGS
from survey.risk.db.selectors.nitrate import nitrate_joints, nitrate_page, nitrate_rows, nitrate_sums
from survey.risk.web import asked
from survey.risk.web.views.ranking import working


def _scored() -> RiskRun:
    run = latest_run()
    if run is None:
        raise NotThere(
            "Nothing is scored yet, so there is nothing to save. Score the joints on the ranking page first."
        )
    return run


@require_GET
@permitted("ranking.read")
def export(request: SignedIn) -> HttpResponseBase:
    """The ranking as it is filtered, as a file; ``readme`` says what the columns mean."""
    kind = request.GET.get("format", "csv")
    if kind not in {"csv", "xlsx", "readme"}:
        raise FettleError("The ranking is saved as csv or xlsx; readme says what the columns mean.")
    wanted, run = asked.wanted(request.GET), _scored()
    name = f"ranking-{timezone.localdate().isoformat()}"
    meanings = dictionary(run)
    if kind == "readme":
        return as_readme(meanings, f"{name}-columns.txt")
    rows = export_rows(run, wanted)
    if kind == "csv":
        return as_csv(HEADINGS, rows, f"{name}.csv")
    explained = Sheet("What the columns mean", ("Column", "Meaning"), meanings)
    return as_xlsx([Sheet("Ranking", HEADINGS, rows), explained], f"{name}.xlsx")


@require_GET
@permitted("ranking.read")
def shelf_list(request: SignedIn) -> HttpResponse:
    """What stands on each shelf and how it is, to walk along with."""
    wanted, run = asked.wanted(request.GET), latest_run()
    context = {"run": run, "wanted": wanted, "here": "shelves", **working()}
    if run:
        context |= {**asked.choices(run, request.GET, wanted), "list": list_by_shelf(run, wanted)}
    return render(request, "survey/risk/shelf_list.html", context)


@require_GET
@permitted("ranking.read")
def do_not_lift(request: SignedIn) -> HttpResponse:
    """What must not be lifted, shelf by shelf."""
    return _not_lifted(request, "survey/risk/do_not_lift.html")


@require_GET
@permitted("ranking.read")
def shelf_notices(request: SignedIn) -> HttpResponse:
    """A notice in large type for each shelf that holds something which must not be lifted."""
    return _not_lifted(request, "survey/risk/shelf_notices.html")


def _not_lifted(request: SignedIn, template: str) -> HttpResponse:
    run, place = latest_run(), asked.place(request.GET)
    shelves = must_not_be_lifted(run, within=place)
    context = {
        "run": run,
        "place": place,
        "shelves": shelves,
        "count": sum(len(shelf.objects) for shelf in shelves),
        "listed": sum(each.listed for shelf in shelves for each in shelf.objects),
        "query": asked.query(request.GET),
        "today": timezone.localdate(),
        "here": "do_not_lift",
        **asked.places(),
        **working(),
    }
    return render(request, template, context)


@require_GET
@permitted("ranking.read")
def workshops(request: SignedIn) -> HttpResponse:
    """Where the ageing cellulose nitrate is, and whose work it was."""
    run = latest_run()
    context = {"run": run, "nitrate": ageing_nitrate(run) if run else None, "here": "workshops", **working()}
    return render(request, "survey/risk/workshops.html", context)


@require_GET
@permitted("ranking.read")
def nitrate(request: SignedIn) -> HttpResponse:
    """Joints that are likely of ageing cellulose nitrate, the likeliest first."""
    run, workshop, place = latest_run(), asked.workshop(request.GET), asked.place(request.GET)
    context: dict[str, Any] = {"run": run, "workshop": workshop, "place": place, "here": "workshops"}
    if run:
        rows = nitrate_joints(run, workshop=workshop, place=place)
        context["page"] = nitrate_page(rows, after=request.GET.get("after"))
        if not request.htmx:
            context |= {**nitrate_sums(rows), **asked.places(), **asked.workshops(), **working()}
            context["query"] = asked.query(request.GET)
    return page_or_part(request, "survey/risk/nitrate.html", "rows", context)


@require_GET
@permitted("ranking.read")
def nitrate_csv(request: SignedIn) -> HttpResponseBase:
    """The same list as a file."""
    rows = nitrate_joints(_scored(), workshop=asked.workshop(request.GET), place=asked.place(request.GET))
    return as_csv(NITRATE_HEADINGS, nitrate_rows(rows), f"ageing-nitrate-{timezone.localdate().isoformat()}.csv")
