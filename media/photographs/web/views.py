"""Photographs by their hash. Content under a hash never changes, so a browser may keep it for good."""

from __future__ import annotations

from typing import Any

from django.http import FileResponse, HttpRequest, HttpResponseBase
from django.views.decorators.http import etag, require_safe

from media.base.access import SignedIn, permitted
from media.base.errors import NotThere
from media.photographs.db.selectors import GONE, stored, the_photograph
from media.photographs.db.services import make_renditions

A_YEAR = 365 * 24 * 3600


def _tag(request: HttpRequest, sha256: str, kind: str, **rest: Any) -> str:
    return f'"{sha256}-{kind}"'


@require_safe
@permitted("photographs.read")
def image(request: SignedIn, sha256: str, kind: str) -> HttpResponseBase:
    """One copy of a photograph; originals are only ever saved, never shown, since they are as somebody sent them."""
    response: HttpResponseBase = etag(_tag)(_send)(request, sha256=sha256, kind=kind)
    # Private: who may see it is asked once by this server, not by a cache between.
    response["Cache-Control"] = f"private, max-age={A_YEAR}, immutable"
    response["X-Content-Type-Options"] = "nosniff"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    return response


def _send(request: HttpRequest, *, sha256: str, kind: str) -> HttpResponseBase:
    photograph = the_photograph(sha256)
    file = stored(photograph, kind)
    if not file.path.exists() and kind != "original":
        make_renditions(photograph)
    try:
        content = file.path.open("rb")
    except FileNotFoundError as error:
        raise NotThere(GONE) from error
    return FileResponse(
        content, content_type=file.media_type, as_attachment=kind == "original", filename=file.file_name
    )
