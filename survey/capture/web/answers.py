"""JSON in and JSON out: what a tablet may ask, and every refusal in JSON with one line."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.http.request import RawPostDataException, UnreadablePostError

from media.base.access import PERMISSIONS, SignedIn, may
from media.base.errors import FettleError
from survey.capture.reading import NotJson, read_json

MOST_BODY = 4 * 1024 * 1024


class BadRequest(FettleError):
    """A request that is no well-formed one; ``status`` says in which way."""

    def __init__(self, message: str, status: int = 400) -> None:
        super().__init__(message)
        self.status = status  # type: ignore[misc]  # each refusal has its own


def refusal(message: str, status: int, **more: Any) -> JsonResponse:
    return JsonResponse({"error": message, **more}, status=status)


def api(permission: str, *methods: str) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """Declare a view for tablets: who may use it, and by which methods. All its refusals are JSON."""
    if permission not in PERMISSIONS:
        raise KeyError(permission)

    def declare(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            response = _guarded(request, *args, **kwargs)
            response["Cache-Control"] = "no-store"
            return response

        def _guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if request.method not in methods:
                answer = refusal(f"This address answers {', '.join(methods)} only.", 405)
                answer["Allow"] = ", ".join(methods)
                return answer
            if not request.user.is_authenticated:
                return refusal("Sign in again: what is on the tablet stays there until it is sent.", 401)
            if not may(request.user, permission):
                return refusal("This account may not send surveys. Sign in as somebody who may.", 403)
            try:
                return view(request, *args, **kwargs)
            except FettleError as error:
                return refusal(error.message, error.status, **_offset(error))
            except (OperationalError, InterfaceError):
                return refusal("The server is busy or its database away: nothing was lost, try again later.", 503)

        guarded.permission = permission  # type: ignore[attr-defined]  # read by the house rules
        return guarded

    return declare


def _offset(error: FettleError) -> dict[str, int]:
    offset = getattr(error, "offset", None)
    return {} if offset is None else {"offset": offset}


def body_of(request: SignedIn, *, most: int = MOST_BODY) -> bytes:
    """The bytes of a request, bounded. Raises ``BadRequest``."""
    length = request.META.get("CONTENT_LENGTH") or "0"
    if not (length.isascii() and length.isdecimal()) or len(length) > 12:
        raise BadRequest("Say the length of what is sent.", 411)
    if int(length) > most:
        raise BadRequest(f"At most {most // 1024} kB are taken at once.", 413)
    try:
        data = request.read(most + 1)
    except (UnreadablePostError, RawPostDataException, OSError) as error:
        raise BadRequest("The connection broke off: send it again.") from error
    if len(data) > most:
        raise BadRequest(f"At most {most // 1024} kB are taken at once.", 413)
    return data


def json_of(request: SignedIn) -> Any:
    """The JSON of a request: UTF-8, finite numbers, not too deep. Raises ``BadRequest``."""
    if request.content_type != "application/json":
        raise BadRequest("Send JSON, as application/json.", 415)
    try:
        return read_json(body_of(request))
    except NotJson as error:
        raise BadRequest(str(error)) from error
