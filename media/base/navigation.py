"""The main ways through the product, for the head of every page."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

WAYS = (
    ("Today", "overview:today", "home"),
    ("Register", "register:objects", "register"),
    ("Places", "register:places", "places"),
    ("Exhibitions", "register:exhibitions", "checklist"),
    ("Survey", "condition:survey", "survey"),
    ("Ranking", "risk:ranking", "ranking"),
    ("Treatments", "hours:treatments", "treatments"),
    ("Plan", "planning:plan", "calendar"),
    ("Forecast", "forecast:forecast", "forecast"),
    ("Settings", "overview:settings", "settings"),
)


def navigation(request: HttpRequest) -> dict[str, Any]:
    """Template context ``nav``: name, href, symbol, current."""
    ways = []
    for name, route, symbol in WAYS:
        try:
            href = reverse(route)
        except NoReverseMatch:
            continue
        here = request.path == href or (href != "/" and request.path.startswith(href))
        ways.append({"name": name, "href": href, "symbol": symbol, "current": here})
    return {"nav": ways}
