"""The app that a tablet keeps: its page, its worker with the fixed list of files, and its manifest."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.views.decorators.http import require_GET

from media.base.access import open_to_all

STYLES = (
    "media/css/fettle.css", "media/css/components.css", "media/css/frame.css", "media/css/lists.css",
    "media/css/pages.css", "survey/condition/condition.css", "survey/capture/app.css", "media/css/markup.css",
)  # fmt: skip
MODULES = (
    "app", "dom", "drafts", "marking", "object", "operations", "outbox", "parts", "readiness", "scanning", "shelf",
    "store", "sync", "taking", "types", "zip",
)  # fmt: skip
READER = "media/vendor/jsqr/jsQR.js"  # loaded when a label is first scanned; kept from the start, for the store
FILES = (
    *STYLES, "media/vendor/idb/idb.js", "media/js/finger.js", READER, "media/symbols.svg", "media/mark.svg",
    "survey/condition/signs.svg", *(f"survey/capture/{name}.js" for name in MODULES),
    *(f"media/markup/{name}.js" for name in ("geometry", "board", "panel")),
)  # fmt: skip
WHY = "holds no record: what it shows is on the tablet itself, and it must open where nobody can sign in"


@require_GET
@open_to_all(WHY)
def home(request: HttpRequest) -> HttpResponse:
    """The page that a tablet keeps; the same for everybody."""
    return render(request, "survey/capture/app.html", {"styles": STYLES})


@cache
def _found(name: str) -> bytes:
    path = finders.find(name)
    if not isinstance(path, str):
        raise FileNotFoundError(name)
    return Path(path).read_bytes()


@require_GET
@open_to_all(WHY)
def worker(request: HttpRequest) -> HttpResponse:
    """The worker, headed by the list of files and a version that changes when any of them does."""
    shell = [request.path.removesuffix("worker.js"), *(static(name) for name in FILES)]
    page = render(request, "survey/capture/app.html", {"styles": STYLES}).content
    version = hashlib.sha256(page)
    for name in FILES:
        version.update(_found(name))
    head = f"const VERSION = {json.dumps(version.hexdigest()[:16])};\nconst SHELL = {json.dumps(shell)};\n"
    response = HttpResponse(head.encode() + _found("survey/capture/worker.js"), content_type="text/javascript")
    response["Cache-Control"] = "no-cache"
    return response


@require_GET
@open_to_all(WHY)
def manifest(request: HttpRequest) -> HttpResponse:
    """How the app calls itself on a home screen."""
    return JsonResponse(
        {
            "name": "Fettle: survey",
            "short_name": "Fettle",
            "start_url": "/capture/",
            "scope": "/capture/",
            "display": "standalone",
            "background_color": "#14100d",
            "theme_color": "#14100d",
            "icons": [{"src": static("media/mark.svg"), "sizes": "any", "type": "image/svg+xml"}],
        },
        content_type="application/manifest+json",
    )
