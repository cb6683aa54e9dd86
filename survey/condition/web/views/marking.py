"""Drawing on a photograph at the desk."""

from __future__ import annotations

import json
from typing import Any

from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import FettleError
from media.markup.db.models import Markup
from media.markup.geometry import BadMarkup
from survey.condition import marking
from survey.condition.db.selectors import marking as selectors
from survey.condition.db.services.marking import draw_on

MOST_AFTER = 50
UNREADABLE = "What was drawn could not be read, so nothing was kept: load the page again and draw it once more."


@require_GET
@permitted("survey.read")
def markup(request: SignedIn, pk: int) -> HttpResponse:
    """A photograph with what is drawn on it; those who survey draw."""
    board = selectors.board(pk)
    wanted = request.GET.get("version", "")
    chosen = selectors.version(board, wanted) if wanted else None
    context = {
        "board": board,
        "taken": board.taken,
        "object": board.taken.object,
        "chosen": chosen,
        "others": board.others(request.user),
        "may_draw": may(request.user, "survey.write"),
        "data": _data(request, board, chosen),
    }
    return render(request, "survey/condition/markup.html", context)


def _data(request: SignedIn, board: selectors.Board, chosen: Markup | None) -> dict[str, Any]:
    """What the page's script needs; nothing of it is trusted when it comes back."""
    photograph, mine = board.taken.photograph, board.mine(request.user)
    began = [chosen] if chosen else mine
    scales = [row.drawing["scale"] for row in began if row.drawing["scale"]]
    return {
        "src": reverse("photographs:image", args=[photograph.pk, "screen"]),
        "label": f"{board.taken.object.number}, {board.taken.view or 'photograph'}",
        "drawing": {
            "width": photograph.width,
            "height": photograph.height,
            "scale": scales[-1] if scales else None,
            "marks": [mark for row in began for mark in row.drawing["marks"]],
        },
        "after": [str(row.pk) for row in mine],
        "others": [row.drawing for row in board.standing if row not in mine and row != chosen],
        "parts": list(board.parts),
        "save": reverse("condition:draw", args=[board.taken.pk]),
    }


@require_POST
@permitted("survey.write")
def draw(request: SignedIn, pk: int) -> HttpResponse:
    """Keep what was drawn, as JSON: drawing, after, into_record. Answers in JSON."""
    try:
        told = _told(request)
        taken = selectors.the_taken(pk)
        made = draw_on(
            taken, marking.read(told["drawing"]), after=told["after"], into_record=told["into_record"],
            by=request.user, at=timezone.now(),
        )  # fmt: skip
    except BadMarkup as error:
        return JsonResponse({"error": f"{str(error).capitalize()}."}, status=422)
    except FettleError as error:
        return JsonResponse({"error": error.message}, status=422 if error.status == 400 else error.status)
    return JsonResponse({"version": str(made.pk)})


def _told(request: SignedIn) -> dict[str, Any]:
    """Raises ``FettleError`` for what no page of ours sends."""
    try:
        told = json.loads(request.body)
    except (ValueError, RecursionError) as error:
        raise FettleError(UNREADABLE) from error
    if not isinstance(told, dict) or set(told) != {"drawing", "after", "into_record"}:
        raise FettleError(UNREADABLE)
    for name in ("after", "into_record"):
        keys = told[name]
        if not isinstance(keys, list) or len(keys) > MOST_AFTER or not all(isinstance(key, str) for key in keys):
            raise FettleError(UNREADABLE)
        if any(len(key) != 36 for key in keys):
            raise FettleError(UNREADABLE)
    return told


@require_GET
@permitted("survey.read")
def as_annotations(request: SignedIn, pk: int) -> HttpResponse:
    """What stands on the photograph as W3C Web Annotations, to save."""
    board = selectors.board(pk)
    answer = HttpResponse(
        json.dumps(selectors.as_annotations(board), ensure_ascii=False, indent=1),
        content_type='application/ld+json; profile="http://www.w3.org/ns/anno.jsonld"',
    )
    answer["Content-Disposition"] = f'attachment; filename="markup-{board.taken.photograph_id[:16]}.jsonld"'
    return answer
