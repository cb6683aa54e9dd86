"""What tablets speak to. Described in ``openapi.json``, which the suite holds against this file."""

from __future__ import annotations

import uuid
from pathlib import Path
from typing import Any

from django.http import FileResponse, HttpResponse, HttpResponseBase, JsonResponse
from django.middleware.csrf import get_token
from django.utils import timezone
from django.views.decorators.http import require_GET

from media.base.access import SignedIn, permitted
from survey.capture import checking
from survey.capture.checking import Refused
from survey.capture.db import services
from survey.capture.db.selectors import packs
from survey.capture.db.services.devices import note_contact
from survey.capture.db.services.photographs import MOST_PIECE
from survey.capture.operations import MOST_OPERATIONS, SCHEMA_VERSION
from survey.capture.web.answers import BadRequest, api, body_of, json_of
from survey.condition.db.selectors.walking import the_round

MOST_SHELVES = 100


def checked(request: SignedIn, *, may: set[str]) -> dict[str, list[str]]:
    """The query of an address. Raises ``BadRequest`` for what it does not know."""
    query = {name: request.GET.getlist(name) for name in request.GET}
    for name in query:
        if name not in may:
            raise BadRequest(f"{name[:40]!a} is not asked here.")
    return query


def _key(text: str, where: str) -> uuid.UUID:
    try:
        return uuid.UUID(checking.key(text, where))
    except Refused as error:
        raise BadRequest(str(error)) from error


@api("survey.write", "GET")
def status(request: SignedIn) -> HttpResponse:
    """Who is signed in, the server's clock, and which versions it reads; sets the token that sending needs."""
    checked(request, may=set())
    return JsonResponse(
        {
            "server_time": timezone.now().isoformat(),
            "schema_version": SCHEMA_VERSION,
            "user": {"id": request.user.pk, "name": request.user.shown},
            "token": get_token(request),
        }
    )


@api("survey.write", "GET")
def choices(request: SignedIn) -> HttpResponse:
    """What can be taken along."""
    checked(request, may=set())
    return JsonResponse(packs.choices())


@api("survey.write", "GET")
def pack(request: SignedIn) -> HttpResponse:
    """Objects of some shelves, or of a checklist or one of its sections, with all that a tablet needs."""
    query = checked(request, may={"shelf", "exhibition", "section", "round"})
    shelves = [_key(each, "shelf") for each in query.get("shelf", [])]
    exhibitions = [_key(each, "exhibition") for each in query.get("exhibition", [])]
    if bool(shelves) == bool(exhibitions) or len(exhibitions) > 1 or len(shelves) > MOST_SHELVES:
        raise BadRequest(f"Ask for one to {MOST_SHELVES} shelves, or for one exhibition.")
    section = query["section"][0] if "section" in query else None
    if section is not None and (shelves or len(section) > 120 or "\x00" in section):
        raise BadRequest("A section is part of an exhibition's checklist.")
    rounds = [the_round(_key(each, "round")) for each in query.get("round", [])[:1]]
    wanted = packs.objects_on(shelves) if shelves else packs.objects_wanted(exhibitions[0], section)
    made = packs.pack(wanted, rounds[0] if rounds else None)
    return JsonResponse({"schema_version": SCHEMA_VERSION, "made_at": timezone.now().isoformat(), **made})


@api("survey.write", "POST")
def operations(request: SignedIn) -> HttpResponse:
    """Take in a batch of operations; each is answered for itself, in the order in which they came."""
    data = json_of(request)
    try:
        batch = checking.table(data, "batch", needs=("device", "name", "sent_at", "unsent", "operations"))
        device = checking.key(batch["device"], "device")
        called = checking.text(batch["name"], "name", most=80)
        sent_at = checking.moment(batch["sent_at"], "sent_at")
        unsent = checking.whole(batch["unsent"], "unsent", low=0, high=2**31 - 1)
        came = checking.items(batch["operations"], "operations", most=MOST_OPERATIONS)
    except Refused as error:
        raise BadRequest(str(error)) from error
    delivery = services.Delivery(request.user, timezone.now(), sent_at)
    note_contact(device, delivery, unsent=unsent, called=called)
    results = [_told(answer) for answer in services.apply_all(came, delivery)]
    services.attach_waiting(at=delivery.at)
    return JsonResponse(
        {"server_time": timezone.now().isoformat(), "schema_version": SCHEMA_VERSION, "results": results}
    )


def _told(answer: services.Answer) -> dict[str, Any]:
    return {
        "id": answer.id,
        "status": answer.status,
        "reason": answer.reason,
        "photographs": list(answer.photographs),
    }


@api("survey.write", "GET", "PUT")
def photograph(request: SignedIn, sha256: str) -> HttpResponse:
    """How much of a photograph is here (GET), or the next piece of it (PUT, with Content-Range)."""
    checked(request, may=set())
    try:
        name = checking.sha256(sha256, "sha256")
    except Refused as error:
        raise BadRequest(str(error)) from error
    if request.method == "GET":
        return _stands(services.stand_of(name))
    piece = body_of(request, most=MOST_PIECE)
    offset, total = _range(request.headers.get("Content-Range", ""), len(piece))
    return _stands(
        services.take_piece(name, piece, offset=offset, total=total, by=request.user, at=timezone.now())
    )  # fmt: skip


def _stands(stand: Any) -> HttpResponse:
    return JsonResponse({"offset": stand.offset, "complete": stand.complete})


def _range(text: str, length: int) -> tuple[int, int]:
    """Offset and total of ``bytes 0-99/1000``. Source: RFC 9110, section 14.4."""
    unit, _, rest = text.partition(" ")
    span, _, whole = rest.partition("/")
    first, _, last = span.partition("-")
    if unit != "bytes" or not all(
        part.isascii() and part.isdecimal() and len(part) < 16 for part in (first, last, whole)
    ):
        raise BadRequest("Say which bytes these are: Content-Range: bytes first-last/total.")
    if int(last) - int(first) + 1 != length or not length:
        raise BadRequest("Content-Range does not fit what came.")
    return int(first), int(whole)


@require_GET
@permitted("survey.read")
def openapi(request: SignedIn) -> HttpResponseBase:
    """The description of all this."""
    path = Path(__file__).resolve().parent.parent / "openapi.json"
    return FileResponse(path.open("rb"), content_type="application/json")
