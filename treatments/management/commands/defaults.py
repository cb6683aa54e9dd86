"""Put the shipped defaults in place where a department has none of its own yet."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from survey.risk.db import services as risk
from treatments.options.db import services as options


class Command(BaseCommand):
    help = "Adopt the shipped scoring parameters and treatment levels if there are none. Example: manage.py defaults"

    def handle(self, *args: Any, **_: Any) -> None:
        risk.ensure_parameters(at=timezone.now())
        options.ensure_levels(at=timezone.now())
