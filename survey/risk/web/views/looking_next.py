"""What to look at next: the list, the list as a file, and having it worked out again."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import Clash, NotThere
from media.base.pages import page_or_part
from media.base.sheets import as_csv
from survey.risk.db.models import NextList, StepKind
from survey.risk.db.selectors import latest_run
from survey.risk.db.selectors import looking_next as reading
from survey.risk.db.services import work_out_again
from survey.risk.look_next import ACT_FROM, LOOK_MINUTES_JOINT, LOOK_MINUTES_OBJECT, TEST_MINUTES, TESTS_WITH_SAMPLE
from survey.risk.web import asked
from survey.risk.web.plots import gains

KEYS = ("q", "on", "place", "kind")
MOST_WORDS = 200


@require_GET
@permitted("ranking.read")
def look_next(request: SignedIn) -> HttpResponse:
    """What should we look at next?"""
    wanted, made = _asked(request.GET), reading.newest_list()
    context: dict[str, Any] = {"list": made, "wanted": wanted, "here": "next"}
    if made:
        context["page"] = reading.next_page(made, wanted, after=request.GET.get("after"))
    if not request.htmx:
        context |= _around(request, made, wanted)
    return page_or_part(request, "survey/risk/look_next.html", "rows", context)


def _around(request: SignedIn, made: NextList | None, wanted: reading.Asked) -> dict[str, Any]:
    """All of the page but its rows."""
    context: dict[str, Any] = {
        "run": made.run if made else latest_run(),
        "job": reading.next_job(),
        "may_run": may(request.user, "ranking.run"),
        "may_survey": may(request.user, "survey.write"),
        "kinds": StepKind.choices,
        "query": _query(request.GET),
        "taken_off": _taken_off(request.GET, wanted),
        "minutes": [
            (StepKind(kind).label, minutes, kind in TESTS_WITH_SAMPLE) for kind, minutes in TEST_MINUTES.items()
        ],
        "look_minutes": (LOOK_MINUTES_OBJECT, LOOK_MINUTES_JOINT),
        "act_from": ACT_FROM,
        **asked.places(),
    }
    if made:
        since = reading.seen_since(made)
        context |= {
            "answer": reading.next_answer(made, wanted, changed=bool(since)),
            "shelves": reading.shelves_ahead(made, wanted, changed=bool(since)),
            "since": since,
            "plot": gains(made.curve),
            "left_out": reading.left_out().count(),
        }
    return context


@require_GET
@permitted("ranking.read")
def look_next_csv(request: SignedIn) -> HttpResponseBase:
    """The list as it is filtered, as a file."""
    made = reading.newest_list()
    if made is None:
        raise NotThere("What to look at next is not worked out yet. Score the joints on the ranking page first.")
    name = f"look-next-{timezone.localdate().isoformat()}.csv"
    return as_csv(reading.HEADINGS, reading.next_rows(made, _asked(request.GET)), name)


@require_POST
@permitted("ranking.run")
def look_next_again(request: SignedIn) -> HttpResponse:
    """Work it out again from the record as it is now."""
    try:
        work_out_again(by=request.user, at=timezone.now())
    except Clash as error:
        messages.info(request, error.message)
    return redirect("risk:look_next")


def _asked(get: QueryDict) -> reading.Asked:
    """The filters of an address. Raises ``FettleError`` in one line for what it cannot mean."""
    kind, on = get.get("kind", ""), get.get("on", "")
    if kind and kind not in StepKind.values:
        raise asked.NotAsked("kind of step")
    if on not in {"", "checklist", "all"}:
        raise asked.NotAsked("checklist filter")
    words = get.get("q", "").replace("\0", "")[:MOST_WORDS].strip()
    return reading.Asked(kind=kind, listed=on == "checklist", place=asked.place(get), words=words)


def _query(get: QueryDict) -> str:
    return urlencode({key: get[key] for key in KEYS if get.get(key)})


def _taken_off(get: QueryDict, wanted: reading.Asked) -> list[tuple[str, str]]:
    """Each filter that is on, in words, with the query string of the same list without it."""
    words = {
        "q": f"“{wanted.words}”" if wanted.words else "",
        "on": "on the checklist" if wanted.listed else "",
        "place": wanted.place.full_name if wanted.place else "",
        "kind": StepKind(wanted.kind).label if wanted.kind else "",
    }
    rest = {key: urlencode({k: get[k] for k in KEYS if get.get(k) and k != key}) for key in KEYS}
    return [(str(said), rest[key]) for key, said in words.items() if said]
