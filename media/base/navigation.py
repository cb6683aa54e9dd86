"""The main ways through the product, for the head of every page."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from media.base.access import may

WAYS = (
    ("Today", "overview:today", "home"),
    ("Register", "register:objects", "register"),
    ("Places", "register:places", "places"),
    ("Exhibitions", "register:exhibitions", "checklist"),
    ("Survey", "condition:survey", "survey"),
    ("Tablet", "capture:home", "tablet"),
    ("Ranking", "risk:ranking", "ranking"),
    ("Treatments", "hours:treatments", "treatments"),
    ("Plan", "planning:plan", "calendar"),
    ("Forecast", "forecast:forecast", "forecast"),
    ("Settings", "overview:settings", "settings"),
)
NEEDS = {"capture:home": "survey.write"}
"""Ways of no use to those who may not do what they lead to."""


def navigation(request: HttpRequest) -> dict[str, Any]:
    """Template context ``nav``: name, href, symbol, current."""
    ways = []
    user = getattr(request, "user", None)
    for name, route, symbol in WAYS:
        try:
            href = reverse(route)
        except NoReverseMatch:
            continue
        if route in NEEDS and not (user and may(user, NEEDS[route])):
            continue
        here = request.path == href or (href != "/" and request.path.startswith(href))
        ways.append({"name": name, "href": href, "symbol": symbol, "current": here})
    return {"nav": ways}
